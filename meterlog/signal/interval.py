"""How often a meter reads, how regularly, and the shortest event it could therefore have shown."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_SPAN = 65536


class Interval(NamedTuple):
    """The nominal time between readings.

    Attributes:
        interval_s: the median spacing, s; NaN with fewer than two readings.
        jitter_s: its robust standard deviation (1.4826 x the median absolute deviation), s.
    """

    interval_s: float
    jitter_s: float

    @property
    def shortest_visible_s(self) -> float:
        """The shortest event that is certain to show in full in at least one reading.

        A reading's window may be as long as the interval; an event covers one whole window for certain only when
        it is as long as an interval plus a window, and the spacing may stretch by its jitter (two of it).
        """
        return 2.0 * self.interval_s + 2.0 * self.jitter_s


def reading_interval(time_s: NDArray[np.float64]) -> Interval:
    """Estimate the nominal interval from the readings' times, shape (n,), s.

    The median ignores lost readings and breaks. Long series are judged by up to 16 stretches spread over them.
    """
    if len(time_s) < 2:
        return Interval(float("nan"), 0.0)
    if len(time_s) <= _SPAN:
        spacing = np.diff(time_s)
    else:
        starts = np.linspace(0, len(time_s) - _SPAN // 16, 16).astype(int)
        spacing = np.concatenate([np.diff(time_s[i : i + _SPAN // 16]) for i in starts])
    middle = float(np.median(spacing))
    return Interval(middle, 1.4826 * float(np.median(np.abs(spacing - middle))))
