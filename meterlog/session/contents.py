"""A whole session in memory: everything its file holds, readings included."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from meterlog.errors import EmptySession
from meterlog.series import Series
from meterlog.session.model import Channel, LinkChange, Marker
from meterlog.session.reader import SessionReader
from meterlog.signal.doubtful import believed
from meterlog.signal.shared_times import spread


@dataclass(eq=False)
class Contents:
    """Everything that a session holds.

    Attributes:
        readings: each channel's readings, by its number.
        channels: all of them, those without a reading too.
        markers: in time order.
        details: as entered.
        link_changes: of its meters.
        path: the session file.
        started_at: the session's time 0 on the wall clock.
        duration_s: s.
        ended: `clean`, `hard` or `growing`.
        notes: sentences about a hard end or damage.
    """

    readings: Mapping[int, Series]
    channels: Sequence[Channel]
    markers: Sequence[Marker] = ()
    details: Mapping[str, str] = field(default_factory=dict)
    link_changes: Sequence[LinkChange] = ()
    path: Path = Path()
    started_at: datetime = datetime(1970, 1, 1, tzinfo=UTC)
    duration_s: float = 0.0
    ended: str = "clean"
    notes: Sequence[str] = ()
    _believed: dict[int, Series] = field(default_factory=dict, init=False, repr=False)

    @classmethod
    def of(cls, reader: SessionReader) -> Self:
        """Read all of a session.

        Raises:
            SessionError: it cannot be read.
        """
        ended = reader.ended  # asked before the rest: what is read after it is complete
        readings = {channel.number: spread(reader.series(channel.number)) for channel in reader.channels}
        return cls(
            readings=readings,
            channels=reader.channels,
            markers=reader.markers,
            details=reader.details,
            link_changes=reader.link_changes,
            path=reader.path,
            started_at=reader.started_at,
            duration_s=reader.duration_s,
            ended=ended,
            notes=reader.notes,
        )

    def need_readings(self) -> None:
        """Refuse a session that holds none.

        Raises:
            EmptySession: no channel has a reading.
        """
        if not self.measured:
            raise EmptySession(f"'{self.path}' holds no readings", str(self.path))

    def series(self, channel: int) -> Series:
        """Return the readings of a channel, by its number."""
        return self.readings[channel]

    def believed(self, channel: int) -> Series:
        """Return the readings of a channel without those in doubt: what is to be concluded from."""
        if channel not in self._believed:
            self._believed[channel] = believed(self.readings[channel])
        return self._believed[channel]

    @property
    def measured(self) -> list[Channel]:
        """The channels that hold believed readings."""
        return [channel for channel in self.channels if len(self.believed(channel.number))]
