"""Statistics of the readings in a visible stretch, channel by channel."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from meterlog.series import Series
from meterlog.signal.interval import reading_interval


@dataclass(frozen=True, slots=True)
class Statistics:
    """Figures of a stretch of one channel; None where no finite reading is.

    Attributes:
        readings: how many.
        overloads: how many of them showed overload.
        low: lowest finite value.
        high: highest.
        mean: of the finite values.
        median: of the finite values.
        interval_s: between readings, s; NaN with fewer than two.
    """

    readings: int
    overloads: int
    low: float | None
    high: float | None
    mean: float | None
    median: float | None
    interval_s: float


def statistics(series: Series, start_s: float, end_s: float) -> Statistics:
    """The figures of start_s..end_s."""
    part = series.between(start_s, end_s)
    finite = part.value[np.isfinite(part.value)]
    overloads = int(np.isinf(part.value).sum())
    interval_s = reading_interval(part.time_s).interval_s
    if not len(finite):
        return Statistics(len(part), overloads, None, None, None, None, interval_s)
    low, high = float(finite.min()), float(finite.max())
    return Statistics(len(part), overloads, low, high, float(finite.mean()), float(np.median(finite)), interval_s)
