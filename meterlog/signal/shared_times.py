"""Gives readings that share one time the times at which they were shown, as far as that can be known.

Tables stamp in whole seconds, and links bring several readings at once: then a run of readings has one time. They were
shown one after another since the time before, at the log's own rate, and each may be off by as much as one of them
takes. A recording has its own, better way (see `timing/cadence.py`); this is for what came without it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meterlog.series import Series

_LONGEST = 1.5
"""A run reaches back by so many usual readings for each of its own at the most: before that readings are missing.
A guess."""


def spread(series: Series) -> Series:
    """The readings with times of their own and the errors of these; the series itself where no two share one.

    Args:
        series: in time order.
    """
    time_s = series.time_s
    same = time_s[1:] == time_s[:-1]
    if not same.any():
        return series
    starts = np.flatnonzero(np.concatenate([[True], ~same]))
    sizes = np.diff(np.append(starts, len(time_s)))
    if len(starts) < 3:
        return series
    since_s = np.diff(time_s[starts], prepend=np.nan)
    each_s = since_s / sizes
    usual_s = float(np.nanmedian(each_s))
    each_s = np.fmin(np.where(np.isnan(each_s), usual_s, each_s), _LONGEST * usual_s)
    run = np.repeat(np.arange(len(starts)), sizes)
    behind = (np.append(starts[1:], len(time_s)) - 1)[run] - np.arange(len(time_s))
    told_s: NDArray[np.float64] = np.maximum.accumulate(time_s - behind * each_s[run])
    error_s = series.time_error_s + each_s[run]
    return replace(series, time_s=told_s, time_error_s=error_s.astype(np.float32))
