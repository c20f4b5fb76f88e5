"""Decides which doubtful readings count: those that the next reading of their channel confirms.

A decoder marks a reading with `Flag.DOUBTFUL` where one flipped bit on the line would explain that it differs from
those before it. That cannot be told from a true change by the reading alone. The next one tells: a display that truly
changed shows about the same again, and its decoder does not doubt it then. A doubtful reading that nothing confirms
stays in the session, and is left out wherever something is concluded from readings.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray

from meterlog.reading import Flag
from meterlog.series import Series

SAME_SHARE = 0.02
"""The next reading confirms within this share of the value, or within `SAME_COUNTS`; as decoders doubt; a guess."""
SAME_COUNTS = 5
"""Counts within which two readings show the same: a guess, above the noise of a steady display."""

_DOUBTFUL = int(Flag.DOUBTFUL)


def believed(series: Series) -> Series:
    """The readings without those that are in doubt and not confirmed; the series itself where none is in doubt."""
    if not len(series) or not np.bitwise_or.reduce(series.flags) & _DOUBTFUL:
        return series
    doubtful = (series.flags & _DOUBTFUL) != 0
    keep = ~doubtful
    first = np.flatnonzero(doubtful[:-1] & keep[1:])
    keep[first] = _same(series, first)
    return series[keep]


def held_back(series: Series) -> int:
    """Return how many of the last readings (0 or 1) cannot be judged before the next has come."""
    return int(len(series) > 0 and bool(series.flags[-1] & _DOUBTFUL))


def joined(first: Series, second: Series) -> Series:
    """One series behind another."""
    columns = (field.name for field in dataclasses.fields(Series))
    return Series(*(np.concatenate([getattr(first, name), getattr(second, name)]) for name in columns))


def _same(series: Series, first: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Tell whether the reading behind each of these shows the same, its flags and its resolution included."""
    value, after = series.value[first], series.value[first + 1]
    resolution, flags = series.resolution[first], series.flags
    count = np.where(np.isnan(resolution), 0.0, resolution)
    with np.errstate(invalid="ignore"):  # one overload less another is no number
        near = np.abs(after - value) <= np.maximum(SAME_SHARE * np.abs(value), SAME_COUNTS * count)
    near = np.where(np.isfinite(value), near, value == after)
    same_range = (series.resolution[first + 1] == resolution) | np.isnan(resolution)
    confirmed: NDArray[np.bool_] = near & same_range & (flags[first + 1] == flags[first] & ~np.uint16(_DOUBTFUL))
    return confirmed
