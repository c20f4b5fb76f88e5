"""One session in memory with its analysis: what comparisons and reports work on."""

from __future__ import annotations

from pathlib import Path

from meterlog.analysis import Analysis, analyze
from meterlog.details import entered_number
from meterlog.events.event import Event
from meterlog.events.settings import SYSTEM_SPLIT_V
from meterlog.findings.evidence import Evidence
from meterlog.limits.system import upper_v
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.session.reader import SessionReader, open_reader
from meterlog.signal.doubtful import believed


class Capture:
    """One session in memory with its analysis.

    Attributes:
        path: the session file.
        started_at: the session's time 0 on the wall clock.
        details: as entered.
        channels: those that hold readings.
        markers: in time order.
        link_changes: of its meters.
        duration_s: s.
        ended: how the recording ended.
        analysis: what happened in it.
    """

    def __init__(self, reader: SessionReader, limits_file: str | None) -> None:
        self.path = reader.path
        self.started_at = reader.started_at
        self.details = reader.details
        self.markers = reader.markers
        self.link_changes = reader.link_changes
        self.duration_s = reader.duration_s
        self.ended = reader.ended
        every = {channel.number: believed(reader.series(channel.number)) for channel in reader.channels}
        self._series = {number: series for number, series in every.items() if len(series)}
        self.channels = [channel for channel in reader.channels if channel.number in self._series]
        self.analysis: Analysis = analyze(self, limits_file=limits_file)
        self._evidence = Evidence(self, self.analysis.events, self.analysis.limits)

    @property
    def system_v(self) -> float | None:
        """The system voltage as entered, V; None where it was not."""
        return entered_number(self.details, "system_v")

    def series(self, channel: int) -> Series:
        """The readings of a channel that are believed."""
        return self._series[channel]

    def events_of(self, channel: Channel, *kinds: str) -> list[Event]:
        """The events of these kinds on a channel, in time order."""
        return self._evidence.events_of(channel, *kinds)

    def cranks(self, channel: Channel) -> list[Event]:
        """The dips on a channel that are the starter's."""
        return [event for event in self.events_of(channel, "sag") if self._evidence.is_crank(event)]

    def upper_v(self) -> float:
        """What the highest DC voltage channel holds for a tenth of its readings or more, V; 0 where there is none."""
        voltages = (self.series(c.number) for c in self.channels if c.quantity is Quantity.DC_VOLTAGE)
        return max(map(upper_v, voltages), default=0.0)

    def shows_24_v(self) -> bool:
        """Whether a voltage channel stands above what any 12 V system shows."""
        return self.upper_v() > SYSTEM_SPLIT_V


def load_capture(path: str | Path, limits_file: str | None = None) -> Capture:
    """Read and analyze a session.

    Args:
        path: the session file.
        limits_file: a limits set or a person's own file; by the session's `system_v` where None.

    Raises:
        SessionError: it cannot be read, or holds no readings.
        LimitsError: the limits cannot be used.
    """
    with open_reader(path) as reader:
        reader.need_readings()
        return Capture(reader, limits_file)
