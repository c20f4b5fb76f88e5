"""Says what is seen of one measurement: slips, and the level of the meter that is watched, or of two meters'
difference."""

from __future__ import annotations

from collections import deque

from meterlog.circuit.readings.from_meter import QUANTITIES, agree
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.case import JobCase
from meterlog.job.taking.expected import expected
from meterlog.job.taking.level import Level, LevelWatch, level_of
from meterlog.job.taking.live_level import LiveLevel
from meterlog.job.taking.meters import Placed
from meterlog.job.taking.ohms_level import OhmsLevel
from meterlog.job.taking.slips import Slips
from meterlog.reading import Flag, Reading

_TOGETHER_S = 1.0
"""Readings of two meters belong together up to so far apart, s. A guess."""
_KEPT = 2000
"""Readings of a meter elsewhere that are kept, of which those at the same moments count: minutes of them."""


class Seen:
    """Takes the readings of all meters of one measurement."""

    def __init__(self, case: JobCase, m: Measurement, placed: Placed) -> None:
        """Begin before the first reading."""
        self._placed = placed
        self._slips = [Slips(place, expected(case, place)) for place in placed.places]
        accuracy = placed.setups[placed.watched[0]].accuracy_of(QUANTITIES[m.quantity][0])
        primes = "prime" in case.circuit.active
        self.watch: LevelWatch = (
            OhmsLevel(accuracy)
            if m.quantity == "resistance"
            else LiveLevel(m, expected(case, m), accuracy, primes=primes)
        )
        self._last: dict[int, Reading] = {}
        self._elsewhere: dict[int, deque[Reading]] = {number: deque(maxlen=_KEPT) for number in placed.elsewhere}

    @property
    def slip(self) -> str:
        """Return what is wrong now at a meter that is watched; empty where nothing is."""
        return next((said for number in self._placed.watched if (said := self._slips[number].said)), "")

    def feed(self, meter: int, reading: Reading) -> tuple[Reading | None, Level | None]:
        """Take a reading of a meter.

        Returns:
            The reading that is to be shown, if it is one of a meter that is watched; the level once it is certain.
        """
        if reading.column or reading.flags & Flag.DOUBTFUL:
            return None, None
        good = self._slips[meter].feed(reading)
        if meter in self._elsewhere:
            if good:
                self._elsewhere[meter].append(reading)
            return None, None
        if not good:
            self._last.pop(meter, None)
            return reading, None
        self._last[meter] = reading
        whole = self._difference(meter)
        return whole, self.watch.feed(whole) if whole is not None else None

    def elsewhere(self, level: Level) -> list[tuple[Measurement, Level]]:
        """The levels of the meters elsewhere at the moments of a level, where they were steady."""
        found = []
        for number, readings in self._elsewhere.items():
            inside = [one for one in readings if level.begin_s <= one.time_s <= level.end_s]
            if agree(inside):
                accuracy = self._placed.setups[number].accuracy_of(inside[0].quantity)
                found.append((self._placed.places[number], level_of(inside, accuracy)))
        return found

    def _difference(self, meter: int) -> Reading | None:
        """The reading itself, or the first watched meter's less the second's, once both have shown something new."""
        reading = self._last[meter]
        if len(self._placed.watched) == 1:
            return reading
        first, second = (self._last.get(number) for number in self._placed.watched)
        if first is None or second is None or abs(first.time_s - second.time_s) > _TOGETHER_S:
            return None
        self._last.clear()  # each reading counts once: the slower meter's edge would look like a level
        return reading._replace(
            value=first.value - second.value, resolution=max(first.resolution, second.resolution), column=0
        )
