"""A supply above what its system stands."""

from __future__ import annotations

from collections.abc import Sequence
from math import inf

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.events.measure import Measure, Watched
from meterlog.events.settings import SYSTEM_HIGHEST_V, SYSTEM_SPLIT_V, DetectionSettings
from meterlog.events.standing import Standing
from meterlog.kinds import found_by
from meterlog.signal.edges import Edge, crossing
from meterlog.signal.levels import median

_TELLING_READINGS = 3
"""Readings before the first high one that tell the system's voltage: a guess."""
_TELLING_S = 5.0
"""Where none were on before, the system's voltage is told by the level of the first so long, s: a guess, much longer
than a load dump or an inrush."""
_OWN_NOISE_READINGS = 18
"""Fewer readings are too few to tell an overvoltage's own noise: a guess."""
_PLATEAU_SHARE = 0.06
"""Readings within this share of a step from a level are at it: as for edges, a guess."""


def machine(watched: Watched) -> Overvoltage | None:
    """Make the machine of a DC voltage against ground."""
    return Overvoltage(watched.measure, watched.settings) if watched.against_ground else None


class Overvoltage:
    """Finds stretches above the limit of the system's voltage.

    Where the system voltage is not stated it is told from the readings before the first high one, or, where none were
    on, from the high ones themselves: a supply that starts at 28 V is a 24 V system.
    """

    def __init__(self, measure: Measure, settings: DetectionSettings) -> None:
        self.events: list[Event] = []
        self.looks_for = found_by("overvoltage")
        self._measure = measure
        self._track = measure.track
        self._settings = settings
        self._system_v = settings.system_v
        self._pos = self._segment = 0
        self._start: int | None = None

    @property
    def needs(self) -> int:
        """The oldest reading that may still be asked for."""
        return (self._pos if self._start is None else self._start) - 128

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing."""
        return (-inf, self._limit) if self._start is None else (inf, -inf)

    @property
    def until(self) -> int:
        """The band holds for good."""
        return 1 << 62

    @property
    def _limit(self) -> float:
        return inf if self._system_v == inf else self._settings.overvoltage(self._system_v)

    @property
    def standing(self) -> Standing | None:
        """Return the state after the last reading; None while it is not too high."""
        if self._start is None:
            return None
        return Standing("high", self._track.time(self._start), self._limit, True)

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included)."""
        while self._pos < stop:
            if self._start is None:
                self._pos = self._track.first_outside(self._pos, stop, -inf, nextafter_up(self._limit))
                if self._pos < stop and not self._told(stop):
                    return
            else:
                low = self._limit * (1.0 - self._settings.overvoltage_hysteresis)
                self._pos = self._track.first_outside(self._pos, stop, low, inf)
                if self._pos < stop:
                    self._end(self._pos, ended=True)

    def interrupt(self, index: int) -> None:
        """Readings are missing before reading `index`."""
        self.finish()
        self._pos = self._segment = index

    def finish(self) -> None:
        """The readings have come to their end."""
        if self._start is not None:
            self._end(self._pos, ended=False)

    def _told(self, stop: int) -> bool:
        """Tell whether the reading at hand can be judged: tells the system voltage where need be.

        Too few readings tell no system: then only what is too high for any of them is too high.
        """
        if self._system_v == 0.0:
            earlier = self._on(max(0, self._pos - 64), self._pos)  # a break changes no system
            if len(earlier) < _TELLING_READINGS:
                until = self._track.first_after(self._track.time(self._pos) + _TELLING_S, self._pos, stop)
                if until == stop:
                    return False
                earlier = self._on(self._pos, until)
            if len(earlier) >= _TELLING_READINGS:
                level = median(earlier)
                self._system_v = inf if level > SYSTEM_HIGHEST_V else 24.0 if level >= SYSTEM_SPLIT_V else 12.0
                return True
            if self._track.value(self._pos) <= self._settings.overvoltage_24v:
                self._pos += 1
                return True
        self._start = self._pos
        self._pos += 1
        return True

    def _on(self, start: int, stop: int) -> NDArray[np.float64]:
        values = self._track.values(start, stop)
        return values[values >= self._settings.on_at_least_v]

    def _end(self, stop: int, ended: bool) -> None:
        measure, start = self._measure, self._start if self._start is not None else stop - 1
        self._start = None
        values = self._track.values(start, stop)
        level, extreme = median(values[1:-1] if len(values) > 2 else values), float(values.max())
        limit, noise = self._limit, self._noise(start, stop)
        grazes = extreme <= limit * (1.0 + self._settings.overvoltage_hysteresis) + noise
        if grazes and level <= limit + noise / (stop - start) ** 0.5:
            return
        begin_s, end_s = self._track.time(start), self._track.time(stop - 1)
        duration = error = None
        if ended and start > self._segment:
            before = measure.before(start, max(self._segment, start - 6))
            first = self._bound(start, before, level, stop, [min(start + k, stop) for k in range(3)])
            after = self._track.value(stop)
            last = self._bound(stop, level, after, stop + 1, [max(stop - k, start - 1) for k in (1, 2, 3)])
            begin_s, end_s, duration, error = measure.timing(first, last, stop)
        self.events.append(
            Event(
                "overvoltage",
                measure.channel,
                begin_s,
                end_s,
                duration,
                error,
                level=level,
                extreme=extreme,
                reference=limit,
                detail=f"up to {extreme:.2f} V, above {limit:g} V",
            )
        )

    def _noise(self, start: int, stop: int) -> float:
        """Half-width of what readings stray for no reason, for an overvoltage of readings [start, stop).

        What comes before it tells that, and, of a longer one, its own readings too: the smaller counts, since a crank
        before it is no noise, and neither is a peak that decays.
        """
        before = self._measure.noise(self._segment, start)
        own = self._measure.noise(start + 1, stop - 1)
        return min(before, own) if stop - start >= _OWN_NOISE_READINGS else before

    def _bound(self, index: int, before: float, after: float, stop: int, inside: Sequence[int]) -> Edge:
        """The beginning or the end at reading `index`; `inside` are the three readings next to it that are above.

        Of a step that is its mid level; a peak that decays is above the limit until it crosses the limit.
        """
        rising = after > before
        level, strays = (after if rising else before), _PLATEAU_SHARE * abs(after - before)
        near, second, third = (self._track.value(at) for at in inside)
        on_its_way = near < second - strays and abs(second - level) + abs(third - second) > strays
        if on_its_way or max(near, second, third) < level - strays:
            while not rising and self._track.value(index - 1) <= self._limit:  # as the hysteresis lets it
                index -= 1
            return crossing(self._track, index, self._limit)
        peak = max(near, level)
        before, after = (before, peak) if rising else (peak, after)
        return self._measure.edge(index, before, after, 0.0, stop)


def nextafter_up(value: float) -> float:
    """The least number above `value`: 'above the limit' leaves the limit itself in."""
    return float(np.nextafter(value, inf))
