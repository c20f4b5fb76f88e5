"""Thins the readings of a polled display to one a look, so that repeats are not taken for fresh looks.

The first reading of each run of one value is a look, shown at some time since the reading before. Where digits stand
still for longer, further looks follow in the display's own beat. How many readings repeat one look is taken anew every
so many readings, from those before alone: so the looks are the same however the readings arrive.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from meterlog.series import Series
from meterlog.signal.levels import median
from meterlog.signal.readings_a_look import LEAST_RUNS, readings_a_look

_OFTEN, _SELDOM = 16, 1024
"""Readings after which the cadence is judged anew, within the first 1024 and later: choices."""
_WINDOW = 2048
"""Readings by which it is judged: a choice."""
_BLOCKS = 256
"""So many judgements of a long series are prepared at once: a choice that stays within a processor's cache."""
_SPACINGS = 64
"""Spacings that tell the interval of polls: as for a track's."""
_ALONE_SHARE = 0.35
"""Largest share of changes that follow a change at once on a polled display, above the quarter of a display read twice
a look; above it no run is looked at."""
_POLLED = 1.5
"""So many readings in a declared display interval repeat looks: half way between one and two."""
_SAME_CADENCE = 1.02
"""A cadence within this factor is kept: each change may show one look of a long run twice. A guess."""
_NEW_CADENCE = 1.2
"""A cadence that changes by this factor is another one: a guess."""
USUAL_LOOK_S = 0.5
"""Usual displays change twice to five times a second, s: from makers' data, unverified."""
_PAUSE_S = 1.0
"""After a longer silence a look is fresh, also where it shows the same: as for the analyzer's gap."""


class Looks:
    """Thins the readings of one channel as they come.

    Args:
        declared_s: the meter's declared display interval, s; it counts as long as the digits themselves tell nothing.
        assumed_s: what is taken where none is declared and the digits tell nothing, s.

    Attributes:
        given: looks so far.
        repeats: how many readings repeat one look, as known now; 1 where nothing tells.
        cadences: from which look on the looks come how many seconds apart; empty before the first cadence is known.
    """

    def __init__(self, declared_s: float | None = None, assumed_s: float | None = None) -> None:
        self._declared_s = declared_s
        self._assumed_s = assumed_s
        self.given = 0
        self.repeats = 1.0
        self.cadences: list[tuple[int, float]] = []
        self._poll_s = 0.0
        self._count = 0
        self._place = 0  # of the last reading in its run
        self._given_s = -np.inf
        self._value: NDArray[np.float64] = np.empty(0)
        self._time_s: NDArray[np.float64] = np.empty(0)

    def feed(self, series: Series) -> Series:
        """Take on more readings, in time order, and give the looks among them; the same series where all are."""
        parts, begin, at = list[Series](), 0, 0
        while at < len(series):
            every = _OFTEN if self._count < _SELDOM else _SELDOM
            stop = min(len(series), at + every - self._count % every)
            if self.repeats == 1.0 and self._count % _SELDOM == 0:
                least = 0 if self._declared_s or self._assumed_s else LEAST_RUNS
                stop = max(stop, at + _SELDOM * _untold(series.value, at, least))
            self._count += stop - at
            at = stop
            if self._count % every:
                break
            repeats = self._judged(series, at)
            if not 1.0 / _SAME_CADENCE < repeats / self.repeats < _SAME_CADENCE:
                parts.append(self._thinned(series, begin, at))
                self._turn(repeats, series, at)
                begin = at
        parts.append(self._thinned(series, begin, len(series)))
        self._value = _last(self._value, series.value, len(series), _WINDOW + 2)
        self._time_s = _last(self._time_s, series.time_s, len(series), _SPACINGS + 1)
        return parts[0] if len(parts) == 1 else _one(parts)

    def _judged(self, series: Series, at: int) -> float:
        """Judge how many readings repeat one look, by the last readings before `at`."""
        if self._interval(series, at) == np.inf:
            return 1.0
        value = _last(self._value, series.value, at, _WINDOW + 2)
        changes, alone = _changes(value)
        if np.count_nonzero(alone) > _ALONE_SHARE * np.count_nonzero(changes):
            return 1.0
        told = readings_a_look(value)
        look_s = self._declared_s or (self._assumed_s if told is None else None)
        if look_s and (told is None or told == 1.0):
            stated = look_s / self._interval(series, at)
            return stated if stated >= _POLLED else 1.0
        return self.repeats if told is None else told

    def _interval(self, series: Series, at: int) -> float:
        """Return the interval of polls before `at`, s; inf where they have one time."""
        return median(np.diff(_last(self._time_s, series.time_s, at, _SPACINGS + 1))) or np.inf

    def _turn(self, repeats: float, series: Series, at: int) -> None:
        """Note that from here on so many readings repeat one look."""
        self._poll_s = self._interval(series, at)
        if self.repeats == 1.0:
            value = _last(self._value, series.value, at, _WINDOW + 2)
            others = np.flatnonzero(value != value[-1])
            self._place = len(value) - 2 - int(others[-1]) if len(others) else len(value) - 1
        if not 1.0 / _NEW_CADENCE < repeats / self.repeats < _NEW_CADENCE:
            self.cadences.append((self.given, repeats * self._poll_s))
        self.repeats = repeats

    def _thinned(self, series: Series, begin: int, end: int) -> Series:
        """Return the looks among readings [begin, end)."""
        part = series if (begin, end) == (0, len(series)) else series[begin:end]
        if self.repeats > 1.0 and len(part):
            value = series.value[begin - 1] if begin else self._value[-1]
            time_s = series.time_s[begin - 1] if begin else self._time_s[-1]
            part = self._first_of_each(part, float(value), float(time_s))
        self.given += len(part)
        if len(part):
            self._given_s = float(part.time_s[-1])
        return part

    def _first_of_each(self, part: Series, value: float, time_s: float) -> Series:
        """Return the first reading of each look, after a reading of that value and time."""
        look_s = self.repeats * self._poll_s
        spacing_s = np.diff(part.time_s, prepend=time_s)
        fresh = (part.value != np.concatenate([[value], part.value[:-1]])) | (spacing_s > _PAUSE_S)
        index = np.arange(len(part))
        place = index - np.maximum.accumulate(np.where(fresh, index, -1 - self._place))
        self._place = int(place[-1])
        # A run that is 1.5 looks long may hold two: then the second was shown half a look ago.
        look = np.floor(place / self.repeats - 0.5)
        further = (look >= 1.0) & (look > np.floor((place - 1) / self.repeats - 0.5))
        poll_s = np.minimum(spacing_s, look_s)
        ago_s = np.where(fresh, poll_s, (place - look * self.repeats) * 2 * self._poll_s + self._poll_s) / 2
        error_s = np.where(fresh, poll_s, self._poll_s) / 2
        shown_s = np.maximum.accumulate(np.maximum(part.time_s - ago_s, self._given_s))
        part = dataclasses.replace(part, time_s=shown_s, time_error_s=(part.time_error_s + error_s).astype(np.float32))
        return part[fresh | further]


def repeats(series: Series, declared_s: float | None) -> float:
    """Return how many readings repeat one look, as known at the end; 1 where nothing tells.

    Args:
        series: all readings of a channel.
        declared_s: the meter's declared display interval, s.
    """
    looks = Looks(declared_s)
    looks.feed(series)
    return looks.repeats


def _last(before: NDArray[np.float64], column: NDArray[np.float64], stop: int, most: int) -> NDArray[np.float64]:
    """Return the last values of `before` and `column` up to `stop`."""
    if stop >= most:
        return column[stop - most : stop]
    return np.concatenate([before[max(len(before) - (most - stop), 0) :], column[:stop]])


def _changes(value: NDArray[np.float64]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Tell where a reading differs from the one before, and where that did as well; from the third on."""
    changes = value[1:] != value[:-1]
    return changes[1:], changes[1:] & changes[:-1]


def _untold(value: NDArray[np.float64], at: int, least_changes: int) -> int:
    """Count how many of the next judgements of a long series, one every `_SELDOM` readings, say that
    nothing is polled."""
    begin = at - _WINDOW - 2
    blocks = min((len(value) - at) // _SELDOM, _BLOCKS)
    if begin < 0 or blocks < 1:
        return 0
    marks = _changes(value[begin : at + blocks * _SELDOM])
    changes, alone = (
        np.convolve(np.count_nonzero(mark.reshape(-1, _SELDOM), axis=1), np.ones(_WINDOW // _SELDOM, int), "valid")[1:]
        for mark in marks
    )
    told = np.flatnonzero((changes >= least_changes) & (alone <= _ALONE_SHARE * changes))
    return int(told[0]) if len(told) else blocks


def _one(parts: list[Series]) -> Series:
    """Join readings, one part after another."""
    columns = (column.name for column in dataclasses.fields(Series))
    return Series(*(np.concatenate([getattr(part, name) for part in parts]) for name in columns))
