"""Estimates a meter's reading interval and its jitter."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import MAD_TO_DEVIATION, median

_SPAN = 65536
"""Readings above which a series is judged by stretches of it: bounds time."""
_STRETCHES = 16
"""Into so many stretches a series is divided: a choice."""
_STRETCH_READINGS = 64
"""A shorter stretch tells no rate of its own: a guess, so that some gaps in it do not count."""


class Interval(NamedTuple):
    """The nominal time between readings.

    Attributes:
        interval_s: the median spacing, s; NaN with fewer than two readings.
        jitter_s: its robust standard deviation (1.4826 x the median absolute deviation), s.
        time_error_s: how far a reading's time may be wrong either way, the median, s.
        readings_a_look: how many readings repeat one look of a display that is polled faster than it changes.
        widest_s: the spacing where readings come most seldom, s: the largest median of some stretches.
    """

    interval_s: float
    jitter_s: float
    time_error_s: float = 0.0
    readings_a_look: float = 1.0
    widest_s: float = 0.0

    @property
    def look_s(self) -> float:
        """The time from one look to the next, s: a reading that repeats the last look is no fresh one."""
        return max(self.readings_a_look * self.interval_s, self.widest_s)


def reading_interval(time_s: NDArray[np.float64], time_error_s: NDArray[np.float32] | None = None) -> Interval:
    """Estimate the nominal interval from the readings' times and their errors, shape (n,), s.

    The median ignores lost readings and breaks. Long series are judged by up to 16 stretches spread over them. Where
    readings have one time because they arrived together (older sessions, tables), as many share the spacing.
    """
    if len(time_s) < 2:
        return Interval(float("nan"), 0.0)
    error_s = _typical(time_error_s) if time_error_s is not None else 0.0
    if len(time_s) <= _SPAN:
        spacing = np.diff(time_s)
    else:
        starts = np.linspace(0, len(time_s) - _SPAN // _STRETCHES, _STRETCHES).astype(int)
        spacing = np.concatenate([np.diff(time_s[i : i + _SPAN // _STRETCHES]) for i in starts])
    middle = median(spacing)
    if middle <= 0.0:
        return _of_bundles(spacing, error_s)
    jitter_s = MAD_TO_DEVIATION * median(np.abs(spacing - middle))
    return Interval(middle, jitter_s, error_s, widest_s=_widest(spacing))


def _widest(spacing: NDArray[np.float64]) -> float:
    """The largest median of up to 16 stretches: a log may have been slower for a part of its time."""
    stretches = max(min(_STRETCHES, len(spacing) // _STRETCH_READINGS), 1)
    return max(median(part) for part in np.array_split(spacing, stretches))


def _typical(error_s: NDArray[np.float32]) -> float:
    """The median, of some thousands spread over a long series."""
    return median(error_s[:: max(len(error_s) // _SPAN, 1)]) if error_s.any() else 0.0


def _of_bundles(spacing: NDArray[np.float64], error_s: float) -> Interval:
    """The interval of readings that mostly share a time: from bundle to bundle, over the readings of one.

    Each lies anywhere in the time since the bundle before.
    """
    starts = np.flatnonzero(spacing > 0.0)
    if len(starts) < 2:
        return Interval(float("nan"), 0.0, error_s)
    between_s = median(spacing[starts[1:]])
    return Interval(between_s / float(np.median(np.diff(starts))), 0.0, max(error_s, between_s))
