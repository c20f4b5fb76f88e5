"""What the analyzer saw go wrong, kind by kind, as statements."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from meterlog.events.event import Event
from meterlog.figure_text import count, seconds, shown
from meterlog.findings.evidence import Evidence
from meterlog.findings.finding import Finding, Verdict
from meterlog.findings.judge import judge
from meterlog.findings.level import resolution_of
from meterlog.session.model import Channel

_DIPS = "definitions of IEEE 1159 and IEC 61000-4-30, made for AC and used here on DC"


@dataclass(frozen=True, slots=True)
class _Case:
    """Events of one kind on one channel, in the words of a statement."""

    evidence: Evidence
    channel: Channel
    events: list[Event]

    def many(self, word: str) -> str:
        """For example `pump feed: 3 dropouts (at 4.1, 7.9, 12.3 s)`."""
        times = ", ".join(f"{e.start_s:.1f}" for e in self.events[:5]) + (" ..." if len(self.events) > 5 else "")
        return f"{self.channel.label}: {count(len(self.events), word)} (at {times} s)"

    def lasting(self) -> str:
        """The shortest and the longest."""
        timed = sorted((e.duration_s, e.duration_error_s) for e in self.events if e.duration_s is not None)
        if not timed:
            return ""
        lengths = [shown(duration_s, "s", error_s) for duration_s, error_s in (timed[0], timed[-1])]
        return f", lasting {lengths[0]}" + (f" to {lengths[1]}" if lengths[0] != lengths[1] else "")

    def lowest(self) -> str:
        """The lowest reading in any, and whether it may have been lower: a meter averages what is short."""
        values = [e.extreme for e in self.events if e.extreme is not None]
        text = f", lowest reading {shown(min(values), self.channel.quantity.unit)}." if values else "."
        series = self.evidence.series(self.channel)
        if any(len(series.between(e.start_s, e.end_s)) <= 2 for e in self.events):
            text += " One shorter than one reading looks shallower than it is: the true lowest value may be lower."
        return text

    def finding(self, text: str, limit: str, source: str, verdict: Verdict = "outside") -> Finding:
        """A finding without a number for its margin."""
        return Finding(text, limit, source, verdict, channel=self.channel.number)


def findings(evidence: Evidence) -> list[Finding]:
    """One finding for each channel and kind that occurred; a dip of the starter is not one of them."""
    found = []
    for channel in evidence.channels:
        for kind, statement in _STATEMENTS.items():
            events = [e for e in evidence.events_of(channel, kind) if not evidence.is_crank(e)]
            if events:
                found.append(statement(_Case(evidence, channel, events)))
    return found


def _dropouts(case: _Case) -> Finding:
    limit = f"no fall to {case.evidence.limits.detection.off_share:.0%} of the usual level or less while on"
    return case.finding(f"{case.many('dropout')} while it should be on{case.lasting()}{case.lowest()}", limit, _DIPS)


def _lost(case: _Case) -> Finding:
    text = f"{case.channel.label}: the supply went off at {case.events[0].start_s:.1f} s and did not come back."
    limit = f"on until switched off, or back within {case.evidence.limits.detection.dropout_longest_s:g} s"
    return case.finding(f"{text} If nobody switched it off, it was lost.", limit, "by definition of the kind")


def _sags(case: _Case) -> Finding:
    limit = f"no fall below {case.evidence.limits.detection.sag_share:.0%} of the usual level"
    return case.finding(f"{case.many('sag')}{case.lasting()}{case.lowest()}", limit, _DIPS)


def _over(case: _Case) -> Finding:
    usual = case.evidence.limits.detection.overvoltage(case.evidence.limits.system_v)
    most = case.events[0].reference if case.events[0].reference is not None else usual
    highest = max(e.extreme if e.extreme is not None else e.level or 0.0 for e in case.events)
    error = case.channel.accuracy.error(highest, resolution_of(case.evidence.series(case.channel)))
    verdict = judge(highest, error, high=(most, most))
    text = f"{case.many('overvoltage')}{case.lasting()}, highest reading {shown(highest, 'V', error)}."
    source = "default, unverified (grade M)"
    return Finding(text, f"at most {most:g} V", source, *verdict, channel=case.channel.number)


def _open(case: _Case) -> Finding:
    text = f"{case.many('opening')}{case.lasting()}. A probe that slips reads the same: hold the contact and repeat."
    return case.finding(text, "no opening once contact is made", "a maker's service manual (grade A)")


def _steps(case: _Case) -> Finding:
    first = case.events[0]
    text = f"{case.many('step')} of resistance."
    if first.reference is not None and first.level is not None:
        text += f" The first went from {shown(first.reference, 'ohm')} to {shown(first.level, 'ohm')}."
    limit = f"no lasting change of more than {case.evidence.limits.detection.step_share:.0%} and the meter's error"
    source = "bridging a closed suspect connector: any spread is an intermittent resistance (grade A)"
    return case.finding(text, limit, source)


def _chatter(case: _Case) -> Finding:
    text = f"{case.many('time')} on and off in quick succession{case.lasting()}{case.lowest()}"
    return case.finding(text, "steady while on", _DIPS)


def _gaps(case: _Case) -> Finding:
    total_s = sum(e.end_s - e.start_s for e in case.events)
    length = (
        f"{seconds(total_s)} in all" if all(e.duration_s is not None for e in case.events) else "the last to the end"
    )
    text = f"{case.many('gap')}, {length} without readings: the link to the meter, not the circuit."
    return case.finding(f"{text} What happened there is not known.", "readings all along", "counted", "cannot tell")


def _held(case: _Case) -> Finding:
    text = f"{case.many('time')} the display was held: those readings did not follow the circuit."
    return case.finding(text, "readings that can be trusted", "the meter's own flags", "cannot tell")


def _weak_meter(case: _Case) -> Finding:
    text = f"{case.many('time')} the meter reported its own battery low: its readings may be wrong."
    return case.finding(text, "readings that can be trusted", "the meter's own flags", "cannot tell")


_STATEMENTS: dict[str, Callable[[_Case], Finding]] = {
    "dropout": _dropouts,
    "supply_lost": _lost,
    "sag": _sags,
    "overvoltage": _over,
    "open_circuit": _open,
    "resistance_step": _steps,
    "chatter": _chatter,
    "gap": _gaps,
    "held_display": _held,
    "meter_battery_low": _weak_meter,
}
