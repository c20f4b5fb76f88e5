"""The shape of a pulse in the terms of IEEE Std 181: reference levels, transitions, overshoot, droop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import median, state_levels


@dataclass(frozen=True, slots=True)
class Pulse:
    """A positive pulse. Times in s on the readings' clock, levels in the channel's unit.

    Attributes:
        low, high: the state levels, by the histogram method.
        start_s, end_s: where the first and the last transition cross the mid level (50 %).
        rise_s, fall_s: transition durations from 10 % to 90 % and back; None where no reading lies inside the
            transition, so that it was shorter than the interval and cannot be told.
        overshoot: how far the highest reading is above the high level, a share of the amplitude.
        droop: how far the level falls from the first to the last quarter of the top, a share of the amplitude.
    """

    low: float
    high: float
    start_s: float
    end_s: float
    rise_s: float | None
    fall_s: float | None
    overshoot: float
    droop: float

    @property
    def duration_s(self) -> float:
        """Pulse duration at the mid level, s."""
        return self.end_s - self.start_s


def pulse_shape(time_s: NDArray[np.float64], value: NDArray[np.float64]) -> Pulse | None:
    """Measure the pulse that the readings show, with idle readings on both sides.

    Levels are crossed on straight lines between readings, on whatever spacing they have.

    Args:
        time_s: float64, shape (n,), never decreasing, s.
        value: float64, shape (n,), finite.

    Returns:
        None where there is no pulse: fewer than 3 readings, no amplitude, or no low reading on one side.
    """
    if len(value) < 3 or value.max() == value.min():
        return None
    low, high = state_levels(value)
    amplitude = high - low
    above = np.flatnonzero(value >= low + amplitude / 2)
    first, last = int(above[0]), int(above[-1])
    if first == 0 or last == len(value) - 1:
        return None
    top = value[first : last + 1]
    quarter = max(len(top) // 4, 1)
    inner = top[1:-1] if len(top) > 4 else top
    begin, end = inner[:quarter], inner[-quarter:]
    return Pulse(
        low,
        high,
        _crossing(time_s, value, first, low + amplitude / 2),
        _crossing(time_s, value, last + 1, low + amplitude / 2),
        _transition(time_s[: last + 1], value[: last + 1], first, low, high),
        _transition(-time_s[first:][::-1], value[first:][::-1], len(value) - 1 - last, low, high),
        max(float(top.max()) - high, 0.0) / amplitude,
        (median(begin) - median(end)) / amplitude,
    )


def _crossing(time_s: NDArray[np.float64], value: NDArray[np.float64], index: int, level: float) -> float:
    """When the line from reading `index` - 1 to `index` crosses a level, s."""
    before, after = float(value[index - 1]), float(value[index])
    share = (level - before) / (after - before)
    return float(time_s[index - 1] + share * (time_s[index] - time_s[index - 1]))


def _transition(
    time_s: NDArray[np.float64], value: NDArray[np.float64], middle: int, low: float, high: float
) -> float | None:
    """The 10 % to 90 % duration of a rise whose mid level is first reached at reading `middle`, s."""
    tenth = (high - low) / 10.0
    start, end = middle, middle
    while start > 0 and value[start - 1] > low + tenth:
        start -= 1
    while end < len(value) - 1 and value[end] < high - tenth:
        end += 1
    if start == end:
        return None
    return _crossing(time_s, value, end, high - tenth) - _crossing(time_s, value, start, low + tenth)
