"""Sums up a channel's readings: lowest, highest, mean, median, last, and the slope of a straight line through them.

The mean is over time: each reading stands for half the time to each of its neighbours. So a log that was read faster
for a while is not drawn to what it showed then, and for even readings it is their plain mean. A break stands for no
more than the readings beside it. The median and the slope are those of the readings.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.series import Series

Array = NDArray[np.float64]

_PART = 8192
"""Readings gone through at once: they stay within a processor's cache, and their sums of products are too short for
numpy to share among threads, whose waiting for each other costs 40 times the sum on a busy computer."""
_BREAK_S, _BREAK_SPACINGS = 1.0, 4.0
"""A spacing is a break above 1 s and 4 times the shorter spacing beside it; as for the event `gap`."""
_HUGE = 1e150
"""The squares of larger readings are no numbers any more: no meter shows such, but a file may hold them."""
_FEW = 20_000
"""Up to so many readings are sorted for their median; of more, some tell first where it must lie. A choice."""
_MARGIN = 6.0
"""Standard errors of a sample's quantile within which the median of all is sought at first. A choice."""


@dataclass(frozen=True, slots=True)
class Statistics:
    """Figures of one channel, or a stretch of it, in its unit; None where no finite reading is.

    Attributes:
        readings: how many there were.
        overloads: how many of them were no number: overload.
        minimum: the lowest.
        maximum: the highest.
        mean: over time; see above.
        median: of the readings.
        last: the last reading; None where that was overload.
        slope_per_s: of the straight line with the least squares through the readings, 1/s; None within one moment.
        span_s: from the first reading to the last, s.
    """

    readings: int
    overloads: int
    minimum: float | None = None
    maximum: float | None = None
    mean: float | None = None
    median: float | None = None
    last: float | None = None
    slope_per_s: float | None = None
    span_s: float = 0.0


def statistics(series: Series) -> Statistics:
    """The figures of readings; those in doubt are to be left out before."""
    time_s, value = series.time_s, series.value
    if not len(value):
        return Statistics(0, 0)
    last = float(value[-1]) if np.isfinite(value[-1]) else None
    low, high = float(value.min()), float(value.max())
    if not (np.isfinite(low) and np.isfinite(high)):
        finite = np.isfinite(value)
        time_s, value = time_s[finite], value[finite]
        if not len(value):
            return Statistics(len(series), len(series))
        low, high = float(value.min()), float(value.max())
    size = max(abs(low), abs(high))
    if size > _HUGE:
        return _scaled(statistics(dataclasses.replace(series, value=series.value / size)), size)
    span_s = float(time_s[-1] - time_s[0])
    middle = _median(value)
    mean, slope = _line(time_s, value)
    # Rounding must not carry a mean of equal readings past them.
    mean = min(max(mean, low), high)
    return Statistics(len(series), len(series) - len(value), low, high, mean, middle, last, slope, span_s)


def _scaled(found: Statistics, by: float) -> Statistics:
    """The figures of readings that are larger by a factor."""

    def larger(figure: float | None) -> float | None:
        return None if figure is None else figure * by

    return dataclasses.replace(
        found,
        minimum=larger(found.minimum),
        maximum=larger(found.maximum),
        mean=larger(found.mean),
        median=larger(found.median),
        last=larger(found.last),
        slope_per_s=larger(found.slope_per_s),
    )


def _line(time_s: Array, value: Array) -> tuple[float, float | None]:
    """The mean over time and the slope of finite readings, shape (n,), n >= 1."""
    count, middle_s = len(value), float(time_s[0] + time_s[-1]) / 2
    watched_s = area = sum_t = sum_v = sum_tt = sum_tv = 0.0
    for start in range(0, count, _PART):
        stop = min(start + _PART, count)
        t, v = time_s[start:stop] - middle_s, value[start:stop]
        sum_t, sum_v = sum_t + float(t.sum()), sum_v + float(v.sum())
        sum_tt, sum_tv = sum_tt + float(t @ t), sum_tv + float(t @ v)
        around = _spacings(time_s, start, stop)
        stands_s = around[:-1] + around[1:]  # twice what each stands for
        watched_s, area = watched_s + float(stands_s.sum()), area + float(stands_s @ v)
    mean = area / watched_s if watched_s > 0 else sum_v / count
    spread = sum_tt - sum_t**2 / count
    slope = (sum_tv - sum_t * sum_v / count) / spread if time_s[-1] > time_s[0] and spread > 0 else None
    return mean, slope


def _spacings(time_s: Array, start: int, stop: int) -> Array:
    """The spacings before each of readings [start, stop) and after the last, s; at the ends as far out as in.

    A break counts as the shorter spacing beside it.
    """
    if start > 0 and stop < len(time_s):
        spacing: Array = np.diff(time_s[start - 1 : stop + 1])
        if spacing.max() <= _BREAK_S:
            return spacing
    lowest, highest = max(start - 2, 0), min(stop + 2, len(time_s))
    spacing = np.diff(time_s[lowest:highest])
    if not len(spacing):
        return np.zeros(stop - start + 1)
    before, after = np.append(np.inf, spacing[:-1]), np.append(spacing[1:], np.inf)
    beside = np.minimum(before, after)
    spacing = np.where((spacing > _BREAK_S) & (spacing > _BREAK_SPACINGS * beside), beside, spacing)
    around = np.concatenate([spacing[:1], spacing, spacing[-1:]])  # of reading k: around[k] before it, [k + 1] behind
    return around[start - lowest : stop - lowest + 1]


def _median(value: Array) -> float:
    """The median of finite readings, shape (n,), n >= 1, without sorting many: a sample says where it must lie."""
    count = len(value)
    if count <= _FEW:
        return float(np.median(value))
    sample = np.sort(value[:: count // _FEW])
    reach = int(_MARGIN * len(sample) ** 0.5 / 2) + 1
    low, high = float(sample[len(sample) // 2 - reach]), float(sample[len(sample) // 2 + reach])
    below = int(np.count_nonzero(value < low))
    ranks = np.array([(count - 1) // 2, count // 2]) - below
    at_low = int(np.count_nonzero(value == low))
    if ranks[0] >= 0 and ranks[1] < at_low:
        return low  # a display has few values, and most readings may be one of them
    inside = value[(value >= low) & (value <= high)]
    if ranks[0] < 0 or ranks[1] >= len(inside):
        return float(np.median(value))  # the sample misled, as one taken in step with the readings can
    inside.partition(ranks)
    return float(inside[ranks].mean())
