"""Faults that the analyzer found, kind by kind, as statements; their words stand in `meterlog.kinds`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from meterlog.dial import turns
from meterlog.events.event import Event
from meterlog.events.gap import why
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Alternative, Finding, Verdict
from meterlog.findings.judgement import Span, judge
from meterlog.findings.level import resolution_of
from meterlog.findings.line import Line, around
from meterlog.findings.regulated import BY_DESIGN, is_regulated
from meterlog.kinds import KINDS, Kind
from meterlog.roles import Role
from meterlog.session.model import Channel
from meterlog.text.figures import count, displayed, seconds, shown
from meterlog.text.times import HOUR_S, from_start


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel and kind that occurred; a dip that another finding explains is not one of them."""
    found = []
    by_number = {channel.number: channel for channel in evidence.channels}
    turned = turns(evidence.channels, lambda number: evidence.series(by_number[number]))
    for channel in evidence.channels:
        for kind in KINDS.values():
            events = [e for e in evidence.events_of(channel, kind.name) if not evidence.is_explained(e)]
            events = [e for e in events if not any(turn.explains(e) for turn in turned)]
            if events and kind.sentence:
                found.append(_Case(evidence, channel, kind, events).finding())
    return found


@dataclass(frozen=True, slots=True)
class _Case:
    """Events of one kind on one channel, and what its sentence may say of them: the properties here, and the settings
    of the detection."""

    evidence: Evidence
    channel: Channel
    kind: Kind
    events: list[Event]

    def __getitem__(self, field: str) -> object:
        """A field of a sentence."""
        return getattr(self if hasattr(_Case, field) else self.evidence.limits.detection, field)

    def finding(self) -> Finding:
        """The statement about them."""
        text, limit = self.kind.sentence.format_map(self), self.kind.limit.format_map(self)
        source, lines = self.kind.source.format_map(self), tuple(self._lines())
        known = self.channel.measurand.role not in (Role.OTHER, Role.CONTROL)
        if known and self.kind.name == "overvoltage":  # what merely occurred has no margin; a highest level has one
            value, error = self._top
            verdict = judge(value, error, high=self._allowed)
            return Finding(text, limit, source, *verdict, self.channel.number, lines)
        occurred: Verdict = "outside" if known and self.kind.about_circuit else "cannot tell"
        found = Finding(text, limit, source, occurred, channel=self.channel.number, lines=lines)
        if self.kind.otherwise:
            return found.unless(Alternative(self.kind.otherwise, self.kind.decides))
        by_design = known and self.kind.by_design and is_regulated(self.evidence, self.channel)
        return found.unless(BY_DESIGN) if by_design else found

    def _lines(self) -> Iterator[Line]:
        """The level at which each event began, over its own stretch of time."""
        share = getattr(self.evidence.limits.detection, self.kind.line_share) if self.kind.line_share else 1.0
        for event in self.events if self.kind.line else ():
            if event.reference is not None:
                words = self.kind.line.format_map(self)
                yield Line(self.channel.number, share * event.reference, words, *around(event.start_s, event.end_s))

    @property
    def label(self) -> str:
        """The channel's."""
        return self.channel.label

    @property
    def first_s(self) -> float:
        """Return when the first began, s."""
        return self.events[0].start_s

    @property
    def times(self) -> str:
        """For example `pump feed: 3 dropouts (at 4.1, 7.9, 12.3 s)`."""
        return f"{self.channel.label}: {count(len(self.events), self.kind.noun)} ({self._at})"

    @property
    def how_often(self) -> str:
        """For example `3 times (at 4.1, 7.9, 12.3 s)`, or `at 4.1 s` of a single one."""
        return f"{count(len(self.events), 'time')} ({self._at})" if len(self.events) > 1 else self._at

    @property
    def _at(self) -> str:
        starts_s = [event.start_s for event in self.events[:5]]
        more = " ..." if len(self.events) > len(starts_s) else ""
        if starts_s[-1] >= HOUR_S:
            return f"at {', '.join(from_start(start_s, hours=True) for start_s in starts_s)}{more}, h:min:s"
        return f"at {', '.join(f'{start_s:.1f}' for start_s in starts_s)}{more} s"

    @property
    def to_the_end(self) -> str:
        """Say that the last was not over when the readings ended, if so."""
        last = self.events[-1]
        if last.duration_s is not None:
            return ""
        which = "the last time it" if len(self.events) > 1 else "it"
        return f"; {which} was not back {seconds(last.end_s - last.start_s)} later, in the last readings"

    @property
    def lasting(self) -> str:
        """The shortest and the longest."""
        timed = sorted((e.duration_s, e.duration_error_s) for e in self.events if e.duration_s is not None)
        if not timed:
            return ""
        lengths = [shown(duration_s, "s", error_s) for duration_s, error_s in (timed[0], timed[-1])]
        return f", lasting {lengths[0]}" + (f" to {lengths[1]}" if lengths[0] != lengths[1] else "")

    @property
    def lowest(self) -> str:
        """The lowest reading in any, and whether it may have been lower: a meter averages what is short."""
        values = [e.extreme for e in self.events if e.extreme is not None]
        series = self.evidence.series(self.channel)
        unit, least = self.channel.quantity.unit, resolution_of(series)
        text = f", lowest reading {displayed(min(values), unit, least)}." if values else "."
        if any(len(series.between(e.start_s, e.end_s)) <= 2 for e in self.events):
            text += " One shorter than one reading looks shallower than it is: the true lowest value may be lower."
        return text

    @property
    def reference(self) -> float:
        """Return what the first was measured against; the overvoltage limit of the system where it does not say."""
        usual = self.evidence.limits.detection.overvoltage(self.evidence.limits.system_v)
        first = self.events[0].reference
        return usual if first is None else first

    @property
    def _allowed(self) -> Span:
        """The highest voltage that is allowed: in the cold a battery is charged above the usual limit by design."""
        cold = self.evidence.at_temperature("charging_max_v")[0][1]
        return self.reference, max(self.reference, cold)

    @property
    def highest_allowed(self) -> str:
        """For example `15`, or `15 (15.1 in the cold)`."""
        usual, cold = self._allowed
        return f"{usual:g}" if usual == cold else f"{usual:g} ({cold:.1f} in the cold)"

    @property
    def _top(self) -> tuple[float, float]:
        """The highest reading in any, with its error."""
        highest = max(e.extreme if e.extreme is not None else e.level or 0.0 for e in self.events)
        return highest, self.channel.accuracy.error(highest, resolution_of(self.evidence.series(self.channel)))

    @property
    def highest(self) -> str:
        """The highest reading in any."""
        value, error = self._top
        return shown(value, self.channel.quantity.unit, error)

    @property
    def from_to(self) -> str:
        """From what to what the first went."""
        first = self.events[0]
        if first.reference is None or first.level is None:
            return ""
        unit = self.channel.quantity.unit
        return f" The first went from {shown(first.reference, unit)} to {shown(first.level, unit)}."

    @property
    def gaps_by(self) -> str:
        """Return what a gap of the channel comes from."""
        return why(self.channel)

    @property
    def missing(self) -> str:
        """Return how long they were in all."""
        total_s = sum(e.end_s - e.start_s for e in self.events)
        ended = all(e.duration_s is not None for e in self.events)
        return f"{seconds(total_s)} in all" if ended else "the last to the end"
