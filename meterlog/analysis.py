"""The whole analysis of a session: its channels, its events, its findings; exactly what `analyze --json` prints."""

from __future__ import annotations

import dataclasses
import math
from dataclasses import dataclass
from datetime import datetime

from meterlog.dial import Turn, explained, turns
from meterlog.events.detect import examine
from meterlog.events.event import Event
from meterlog.events.gap import lost_links
from meterlog.events.watch import Watch
from meterlog.findings import Finding, Line, findings
from meterlog.findings.level import resolution_of
from meterlog.kinds import place
from meterlog.limits import Limits, limits_for
from meterlog.limits.foreign import with_foreign
from meterlog.reading import Quantity
from meterlog.session.contents import Contents
from meterlog.session.model import Channel, Marker
from meterlog.signal.interval import Interval
from meterlog.signal.statistics import Statistics, statistics


@dataclass(frozen=True, slots=True)
class ChannelSummary:
    """A channel and what its readings could have shown.

    Attributes:
        channel: as recorded.
        readings: how many.
        doubtful: how many of them are doubtful, and nothing confirms them.
        watch: what was looked for in them, and for how long.
        statistics: of the readings that are not doubtful.
        resolution: one count of the display as mostly shown, in the channel's unit; NaN where unknown.
    """

    channel: Channel
    readings: int
    doubtful: int
    watch: Watch
    statistics: Statistics
    resolution: float

    @property
    def interval(self) -> Interval:
        """Return the nominal interval and jitter, estimated from the times."""
        return self.watch.interval

    def as_json(self) -> dict[str, object]:
        """The object of `analyze --json`."""
        return {
            "channel": self.channel.number,
            "label": self.channel.label,
            "quantity": str(self.channel.quantity),
            "unit": self.channel.quantity.unit,
            "readings": self.readings,
            "interval_s": _number(self.interval.interval_s),
            "shortest_visible_s": _number(self.watch.shortest_visible_s),
            "watched_s": self.watch.watched_s,
            "time_error_s": self.interval.time_error_s,
            "minimum": _number(self.statistics.minimum),
            "maximum": _number(self.statistics.maximum),
            "mean": _number(self.statistics.mean),
            "median": _number(self.statistics.median),
            "last": _number(self.statistics.last),
            "slope_per_s": _number(self.statistics.slope_per_s),
            "overloads": self.statistics.overloads,
            "doubtful": self.doubtful,
            "rejected_frames": self.channel.rejected,
            "role": str(self.channel.measurand.role),
            "checked": self.channel.checked or None,
            "converted": self.channel.converted or None,
        }


@dataclass(frozen=True, slots=True)
class Analysis:
    """A session's events and findings, and how sure they are.

    Attributes:
        session: the file's path.
        started_at: wall-clock time of the session's start.
        duration_s: s.
        channels: in the session's order.
        events: of all channels, in time order.
        findings: see `meterlog.findings`.
        limits: what was judged by.
        markers: the session's.
        turns: of the meters' dials.
    """

    session: str
    started_at: datetime
    duration_s: float
    channels: list[ChannelSummary]
    events: list[Event]
    findings: list[Finding]
    limits: Limits
    markers: list[Marker] = dataclasses.field(default_factory=list)
    turns: list[Turn] = dataclasses.field(default_factory=list)

    def lines(self, channel: int) -> list[Line]:
        """Return what a channel's findings were judged by, each level once."""
        every = (line for finding in self.findings for line in finding.lines)
        return list(dict.fromkeys(line for line in every if line.channel == channel))

    def as_json(self) -> dict[str, object]:
        """The object of `analyze --json`."""
        return {
            "session": self.session,
            "started_at": self.started_at.isoformat(),
            "duration_s": self.duration_s,
            "channels": [channel.as_json() for channel in self.channels],
            "events": [event.as_json() for event in self.events],
            "findings": [finding.as_json() for finding in self.findings],
        }


def analyze(session: Contents, limits: Limits | None = None, limits_file: str | None = None) -> Analysis:
    """Analyze a session.

    Args:
        session: all that it holds.
        limits: what to judge by; see `limits_for` where None.
        limits_file: a limits set or a person's own file, where `limits` is None.

    Raises:
        LimitsError: the limits cannot be used.
    """
    if limits is None:
        voltages = (session.believed(c.number) for c in session.channels if c.quantity is Quantity.DC_VOLTAGE)
        limits = limits_for(session.details, voltages, limits_file)
    settings = limits.settings
    judged = with_foreign(session.channels, limits, session.believed)
    if judged != list(session.channels):
        session = dataclasses.replace(session, channels=judged)
    channels, events = [], []
    armed = any(marker.ends_recording for marker in session.markers)
    for channel in session.channels:
        series = session.series(channel.number)
        believed = session.believed(channel.number)
        doubtful = len(series) - len(believed)
        found, watch = examine(channel, series, session.markers, settings)
        channels.append(
            ChannelSummary(channel, len(series), doubtful, watch, statistics(believed), resolution_of(believed))
        )
        gaps = [event for event in found if event.kind == "gap"]
        lost = lost_links(channel.number, session.link_changes, armed, gaps, session.duration_s)
        events += found + lost
    turned = turns(session.channels, session.series)
    events = explained(events, turned)
    events.sort(key=lambda event: (event.start_s, event.channel, place(event.kind)))
    said = findings(session, events, limits, {summary.channel.number: summary.watch for summary in channels})
    return Analysis(
        str(session.path),
        session.started_at,
        session.duration_s,
        channels,
        events,
        said,
        limits,
        list(session.markers),
        turned,
    )


def _number(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
