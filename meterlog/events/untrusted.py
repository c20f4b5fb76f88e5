"""Readings not to be trusted, by what the meter itself says: a held display, a low meter battery."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.reading import Flag

STORED = int(Flag.HOLD | Flag.MINIMUM | Flag.MAXIMUM)
"""With one of these the number shown is a stored one."""
TELLING = STORED | int(Flag.LOW_BATTERY)
"""With one of these there is an event."""
_KINDS = (
    ("held_display", STORED, "the display was on hold (or showed a stored minimum or maximum): not live readings"),
    ("meter_battery_low", int(Flag.LOW_BATTERY), "the meter says its own battery is low: its readings may be wrong"),
)
_BLINK_S = 2.0


class Untrusted:
    """Finds runs of flagged readings; breaks of up to two seconds in them are blinking, not an end."""

    def __init__(self, channel: int) -> None:
        self.events: list[Event] = []
        self._channel = channel
        self._open: dict[str, tuple[float, float]] = {}

    @property
    def running(self) -> bool:
        """Tell whether flagged readings were the last ones, so that what comes next matters."""
        return bool(self._open)

    def feed(self, time_s: NDArray[np.float64], flags: NDArray[np.uint16]) -> None:
        """Take on more readings."""
        if not len(flags) or (not self._open and not np.bitwise_or.reduce(flags) & TELLING):
            return
        for kind, mask, detail in _KINDS:
            for at in time_s[(flags & mask) != 0]:
                begin, last = self._open.get(kind, (float(at), float(at)))
                if at - last > _BLINK_S:
                    self._end(kind, detail)
                    begin = float(at)
                self._open[kind] = (begin, float(at))
            if kind in self._open and time_s[-1] - self._open[kind][1] > _BLINK_S:
                self._end(kind, detail)

    def finish(self) -> None:
        """The readings have come to their end."""
        for kind, _, detail in _KINDS:
            if kind in self._open:
                self._end(kind, detail)

    def _end(self, kind: str, detail: str) -> None:
        begin, last = self._open.pop(kind)
        self.events.append(Event(kind, self._channel, begin, last, last - begin, detail=detail))
