"""The shape of a pulse in the terms of IEEE Std 181: overshoot and droop."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import median, state_levels


class Pulse(NamedTuple):
    """Overshoot and droop of a positive pulse, in shares of its amplitude.

    Attributes:
        overshoot: how far the highest reading is above the high state level, which the histogram method gives.
        droop: how far the level falls from the first to the last quarter of the top.
    """

    overshoot: float
    droop: float


def pulse_shape(value: NDArray[np.float64]) -> Pulse | None:
    """Measure the pulse that the readings show, float64, shape (n,), finite, with idle readings on both sides.

    Returns:
        None where there is no pulse: no low reading on one side, or no two levels: the commonest reading lies near
        the middle, half way up to a lone spike, and so counts with both halves.
    """
    low, high = state_levels(value)
    amplitude = high - low
    if amplitude <= np.ptp(value) / 2:
        return None
    above = np.flatnonzero(value >= low + amplitude / 2)
    first, last = int(above[0]), int(above[-1])
    if first == 0 or last == len(value) - 1:
        return None
    top = value[first : last + 1]
    quarter = max(len(top) // 4, 1)
    inner = top[1:-1] if len(top) > 4 else top  # the outer ones may be partial
    return Pulse(
        (float(top.max()) - high) / amplitude,
        (median(inner[:quarter]) - median(inner[-quarter:])) / amplitude,
    )
