"""Tells when probes have left the last place: what the display shows until then belongs to no new reading."""

from __future__ import annotations

import math
from collections import deque

from meterlog.circuit.readings.from_meter import NOTHING
from meterlog.driver.steady import STEADY
from meterlog.reading import Flag, Quantity, Reading

_SOONEST_S = 3.0
"""Nobody reads what is next and moves two probes within less, s: a guess."""


class LeavingProbes:
    """Watches for free probes: a few readings of nothing (0 or open), or the dial that is turned."""

    def __init__(self) -> None:
        """Begin while they still hang there."""
        self._recent: deque[Reading] = deque(maxlen=STEADY)
        self._first: Reading | None = None
        self.gone = False

    def feed(self, reading: Reading) -> bool:
        """Take a reading; True once they have left."""
        if self._first is None:
            self._first = reading
        self._recent.append(reading)
        turned = reading.quantity is not self._first.quantity
        free = len(self._recent) == STEADY and all(map(_is_nothing, self._recent))
        moved_s = reading.time_s - self._first.time_s
        self.gone = self.gone or turned or (free and moved_s >= _SOONEST_S)
        return self.gone


def _is_nothing(reading: Reading) -> bool:
    ohms = reading.quantity in (Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DIODE)
    if ohms:
        return math.isinf(reading.value) or bool(reading.flags & Flag.OVERLOAD)
    return abs(reading.value) < NOTHING
