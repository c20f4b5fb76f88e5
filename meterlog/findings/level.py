"""The level of a stretch of readings, with its error."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.reading import Accuracy
from meterlog.series import Series
from meterlog.signal.levels import MAD_TO_DEVIATION, median, second_highest

_TIED = 2
"""Of so many readings neither outvotes the other."""
MANY = 20_000
"""More readings than this are thinned evenly before a level is taken: its error does not shrink further, and a
log of ten million readings must not cost a sort."""

_MEDIAN_ERROR = 1.253
"""The standard error of a median over that of a mean: sqrt(pi / 2), for normal noise."""
_COVER = 2
"""Deviations that cover 95 % of normal noise."""


class Level(NamedTuple):
    """A level.

    Attributes:
        value: the median, in the channel's unit.
        error: half-width: the meter's accuracy, and twice the median's own standard error.
        low: the lowest reading in it.
        high: the highest reading in it.
        readings: how many there were.
    """

    value: float
    error: float
    low: float
    high: float
    readings: int


def thin(series: Series, many: int = MANY) -> Series:
    """At most about `many` of the readings, evenly chosen."""
    return series[:: max(1, len(series) // many)]


def level_of(series: Series, accuracy: Accuracy, chosen: NDArray[np.bool_] | None = None) -> Level | None:
    """The level of the finite readings, or of the chosen ones of them; None where there are none."""
    take = np.isfinite(series.value)
    if chosen is not None:
        take &= chosen
    values = series.value[take]
    if not len(values):
        return None
    middle = median(values)
    error = accuracy.error(middle, resolution_of(series)) + median_error(values)
    return Level(middle, error, float(values.min()), float(values.max()), len(values))


def median_error(values: NDArray[np.float64]) -> float:
    """Return the half-width of what noise leaves open of a median, of readings of shape (n,), n >= 1.

    The median's standard error is 1.253 sigma / sqrt(n), sigma taken from the median absolute deviation
    (x 1.4826), both for normal noise.
    """
    sigma = MAD_TO_DEVIATION * median(np.abs(values - median(values)))
    return _COVER * _MEDIAN_ERROR * sigma / math.sqrt(len(values))


def upper_level(series: Series, accuracy: Accuracy) -> Level | None:
    """The level while something flows: of the readings at or above half of the 99th percentile of the sizes.

    Of few readings that would be the highest, which may be wrong: it is no more than two of them reach.
    """
    few = thin(series)
    size = np.abs(few.value)
    finite = np.isfinite(size)
    if not finite.any():
        return None
    top = float(np.percentile(size[finite], 99))
    if np.count_nonzero(finite) > _TIED:
        top = min(top, second_highest(size[finite]))
    return level_of(few, accuracy, size >= top / 2)


def resolution_of(series: Series) -> float:
    """One count as mostly shown; NaN where unknown."""
    known = series.resolution[:MANY]
    known = known[np.isfinite(known)]
    return median(known) if len(known) else float("nan")
