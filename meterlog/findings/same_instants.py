"""Two channels at the same instants: the readings of one, and the other interpolated to their times with its error."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.findings.level import resolution_of, thin
from meterlog.reading import Accuracy
from meterlog.series import Series
from meterlog.signal.levels import median

_STEADY_SHARE = 0.05
"""Instants next to a change of more than 5 % count as edges and are left out: two averaging meters see an edge at
different moments. Default, unverified."""

_FARTHEST_INTERVALS = 3.0
"""Between readings farther apart nothing is drawn straight, in usual intervals; default, unverified."""


@dataclass(frozen=True, slots=True)
class Instants:
    """Two channels at n same instants, both steady there.

    Attributes:
        time_s: float64 (n,), the first channel's reading times, s.
        first: float64 (n,), its values.
        second: float64 (n,), the other channel's values, straight between its neighbouring readings.
        error: float64 (n,), half-width of what interpolating may have missed: half the step between the
            neighbouring readings of either channel.
    """

    time_s: NDArray[np.float64]
    first: NDArray[np.float64]
    second: NDArray[np.float64]
    error: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_s)

    def where(self, chosen: NDArray[np.bool_]) -> Instants:
        """The chosen instants."""
        return Instants(self.time_s[chosen], self.first[chosen], self.second[chosen], self.error[chosen])


def same_instants(first: Series, second: Series) -> Instants:
    """The instants of `first` at which both are known and steady; none where they never overlap."""
    few = _finite(thin(first))
    other = _finite(second.between(*_overlap(few, second)))
    if len(few) < 2 or len(other) < 2:
        return Instants(*(np.empty(0) for _ in range(4)))
    right = np.clip(np.searchsorted(other.time_s, few.time_s), 1, len(other) - 1)
    left = right - 1
    reach = _FARTHEST_INTERVALS * median(np.diff(other.time_s))
    near = other.time_s[right] - other.time_s[left] <= reach
    near &= (few.time_s >= other.time_s[0]) & (few.time_s <= other.time_s[-1])
    second_step = np.abs(other.value[right] - other.value[left])
    first_step = _steps(few.value)
    value = np.interp(few.time_s, other.time_s, other.value)
    steady = (first_step <= _STEADY_SHARE * np.abs(few.value)) | (first_step <= 4 * _count(few))
    steady &= (second_step <= _STEADY_SHARE * np.abs(value)) | (second_step <= 4 * _count(other))
    every = Instants(few.time_s, few.value, value, np.maximum(first_step, second_step) / 2)
    return every.where(near & steady)


def difference(
    instants: Instants, first: Accuracy, second: Accuracy, counts: tuple[float, float]
) -> tuple[float, float]:
    """The median difference first - second and its half-width: both meters' accuracy and the interpolation's error.

    The accuracies are added, not combined by squares: two meters' errors are fixed for the whole session and may
    well point opposite ways.
    """
    middle = median(instants.first - instants.second)
    error = first.error(median(instants.first), counts[0])
    error += second.error(median(instants.second), counts[1])
    return middle, error + median(instants.error)


def _overlap(first: Series, second: Series) -> tuple[float, float]:
    if not len(first) or not len(second):
        return 0.0, -1.0
    i = max(0, int(np.searchsorted(second.time_s, first.time_s[0], "right")) - 1)
    j = min(len(second) - 1, int(np.searchsorted(second.time_s, first.time_s[-1])))
    return float(second.time_s[i]), float(second.time_s[j])


def _finite(series: Series) -> Series:
    return series[np.isfinite(series.value)]


def _steps(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """The larger of the steps to either neighbour."""
    step = np.abs(np.diff(value))
    larger: NDArray[np.float64] = np.maximum(np.concatenate([step[:1], step]), np.concatenate([step, step[-1:]]))
    return larger


def _count(series: Series) -> float:
    count = resolution_of(series)
    return 0.0 if np.isnan(count) else count
