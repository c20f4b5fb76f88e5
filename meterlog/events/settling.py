"""Tells the level of what has just gone on: at least two readings must share it, since one may be wrong."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import second_highest


class Agreed(NamedTuple):
    """The highest level that two readings reach, or that of the only one that is on; and whether it is the only one."""

    level: float
    alone: bool


def agreed(value: NDArray[np.float64], on_from: float) -> Agreed:
    """Tell the level of readings since the first that was on, shape (n,), n >= 1; `on_from` is what counts as on."""
    on = value[value >= on_from]
    return Agreed(second_highest(on), False) if len(on) > 1 else Agreed(float(value.max()), True)


def fall_in(value: NDArray[np.float64], off_at: float) -> int | None:
    """Find the first reading at or below `off_at` behind one above it; None where there is none."""
    off = value <= off_at
    falls = np.flatnonzero(~off[:-1] & off[1:])
    return int(falls[0]) + 1 if len(falls) else None
