"""Equal buckets of time that take readings, or whole chunks by their statistics."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meterlog.series import Series
from meterlog.session.model import Overview


class Buckets:
    """Filled by `add` and `add_span`, in any order."""

    def __init__(self, start_s: float, end_s: float, buckets: int) -> None:
        self._edge_s = np.linspace(start_s, end_s, buckets + 1)
        self._minimum = np.full(buckets, np.inf)
        self._maximum = np.full(buckets, -np.inf)
        self._flags = np.zeros(buckets, np.uint16)
        self._count = np.zeros(buckets, np.int64)

    def place(self, time_s: ArrayLike) -> NDArray[np.int64]:
        """The bucket that holds each time; -1 or the number of buckets outside."""
        places = np.searchsorted(self._edge_s, time_s, "right") - 1
        return np.where(np.asarray(time_s) == self._edge_s[-1], len(self._count) - 1, places)

    def holding(self, start_s: ArrayLike, end_s: ArrayLike) -> NDArray[np.int64]:
        """The bucket that holds all of each start..end; -1 where no single one does."""
        first, last = self.place(start_s), self.place(end_s)
        return np.where((first == last) & (first < len(self._count)), first, -1)

    def add_span(self, at: int, count: int, minimum: float | None, maximum: float | None, flags: int) -> None:
        """Add readings that lie in bucket `at` by their statistics; the extremes are over the finite values."""
        if minimum is not None and maximum is not None:
            self._minimum[at] = min(self._minimum[at], minimum)
            self._maximum[at] = max(self._maximum[at], maximum)
        self._flags[at] |= np.uint16(flags)
        self._count[at] += count

    def add(self, series: Series) -> None:
        """Add readings; those outside the buckets are left out."""
        # Where each bucket begins among the readings: a search per edge, not per reading.
        starts = np.searchsorted(series.time_s, self._edge_s, "left")
        starts[-1] = np.searchsorted(series.time_s, self._edge_s[-1], "right")
        count = np.diff(starts)
        at = np.flatnonzero(count)
        if not len(at):
            return
        first = starts[at]
        inside = series[: int(starts[-1])]
        finite = np.isfinite(inside.value)
        below = above = inside.value
        if not finite.all():
            below, above = np.where(finite, below, np.inf), np.where(finite, above, -np.inf)
        low, high = np.minimum.reduceat(below, first), np.maximum.reduceat(above, first)
        self._minimum[at] = np.minimum(self._minimum[at], low)
        self._maximum[at] = np.maximum(self._maximum[at], high)
        self._flags[at] |= np.bitwise_or.reduceat(inside.flags, first)
        self._count += count

    def overview(self) -> Overview:
        """Return what came together."""
        empty = np.isinf(self._minimum)
        self._minimum[empty] = np.nan
        self._maximum[empty] = np.nan
        return Overview(self._edge_s, self._minimum, self._maximum, self._flags, self._count)
