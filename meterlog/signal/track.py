"""The readings of one channel as the detectors see them: indexed from the first, growing, old ones let go.

Detectors ask one question again and again: where is the next reading outside this band? A track answers it at memory
speed: long series carry the extremes of every block of 128 readings, and only blocks that leave the band are looked at.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.levels import median

BLOCK = 128
_KEEP = 4096
_MOST = 1 << 20


class Track:
    """Times and values of one channel; indices count from the channel's first reading, also after old ones went.

    Attributes:
        count: readings so far.
        cadences: from which reading on they come how many seconds apart, where that changed and was told.
    """

    def __init__(self, summarised: bool = True) -> None:
        """Start empty.

        Args:
            summarised: whether to keep the extremes of the blocks of a long series; not worth it for times alone.
        """
        self.count = 0
        self._summarised = summarised
        self._base = 0
        self._time: NDArray[np.float64] = np.empty(0)
        self._value: NDArray[np.float64] = np.empty(0)
        self._resolution: NDArray[np.float32] = np.empty(0, np.float32)
        self._error: NDArray[np.float32] = np.empty(0, np.float32)
        self._low: NDArray[np.float64] | None = None
        self._high: NDArray[np.float64] | None = None
        self._calm_ends: dict[float, NDArray[np.int64]] = {}
        self.cadences: Sequence[tuple[int, float]] = ()
        self._nominal: dict[int, float] = {}

    def extend(
        self,
        time_s: NDArray[np.float64],
        value: NDArray[np.float64],
        resolution: NDArray[np.float32],
        needed: int,
        time_error_s: NDArray[np.float32] | None = None,
    ) -> None:
        """Take on more readings; those before reading `needed`, and a few thousand back, are let go.

        The first ones, when they are many, are kept as they are and not copied.
        """
        if time_error_s is None:
            time_error_s = np.zeros(len(time_s), np.float32)
        if self.count == 0 and len(time_s) >= 4 * BLOCK:
            self._adopt(time_s, value, resolution, time_error_s)
            return
        self._low = self._high = None
        used = self.count - self._base
        if used + len(time_s) > len(self._time):
            drop = max(0, min(used - _KEEP, needed - self._base), used - _MOST)
            size = 2 * (used - drop + len(time_s)) + _KEEP
            for name in ("_time", "_value", "_resolution", "_error"):
                old = getattr(self, name)
                grown = np.empty(size, old.dtype)
                grown[: used - drop] = old[drop:used]
                setattr(self, name, grown)
            self._base += drop
            used -= drop
        end = used + len(time_s)
        self._time[used:end], self._value[used:end], self._resolution[used:end] = time_s, value, resolution
        self._error[used:end] = time_error_s
        self.count += len(time_s)

    def _adopt(
        self,
        time_s: NDArray[np.float64],
        value: NDArray[np.float64],
        resolution: NDArray[np.float32],
        time_error_s: NDArray[np.float32],
    ) -> None:
        self._time, self._value, self._resolution, self._error = time_s, value, resolution, time_error_s
        self.count = len(time_s)
        if self._summarised:
            whole = value[: self.count - self.count % BLOCK].reshape(-1, BLOCK)
            self._low, self._high = whole.min(axis=1), whole.max(axis=1)

    def resolution(self, index: int) -> float:
        """One count of reading `index`; NaN where unknown."""
        return float(self._resolution[index - self._base])

    def time_error_s(self, index: int) -> float:
        """Return how far the time of reading `index` may be wrong either way, s."""
        return float(self._error[index - self._base])

    def time_errors(self, start: int, stop: int) -> NDArray[np.float32]:
        """Return how far the times of readings [start, stop) may be wrong either way, s, as far as they are still
        held."""
        return self._error[max(start - self._base, 0) : max(min(stop, self.count) - self._base, 0)]

    def time(self, index: int) -> float:
        """Return when reading `index` was shown, s."""
        return float(self._time[index - self._base])

    def value(self, index: int) -> float:
        """Return what reading `index` showed."""
        return float(self._value[index - self._base])

    def values(self, start: int, stop: int) -> NDArray[np.float64]:
        """The readings from `start` up to but not `stop`, as far as they are still held."""
        return self._value[max(start - self._base, 0) : max(min(stop, self.count) - self._base, 0)]

    def times(self, start: int, stop: int) -> NDArray[np.float64]:
        """The times from `start` up to but not `stop`, as far as they are still held, s."""
        return self._time[max(start - self._base, 0) : max(min(stop, self.count) - self._base, 0)]

    def first_after(self, time_s: float, start: int, stop: int) -> int:
        """The first reading in [start, stop) later than a time; `stop` where there is none."""
        part = self._time[start - self._base : stop - self._base]
        return start + int(np.searchsorted(part, time_s, "right"))

    def first_outside(self, start: int, stop: int, low: float, high: float) -> int:
        """The first reading in [start, stop) that is not low <= value < high; `stop` where there is none.

        A `high` of infinity lets overload in.
        """
        step = BLOCK
        while start < stop:
            if self._low is not None and self._high is not None and start % BLOCK == 0:
                start = min(self._skip_blocks(start // BLOCK, stop // BLOCK, low, high) * BLOCK, stop)
                if start >= stop:
                    return stop
            end = min(start - start % BLOCK + step, stop)
            part = self._value[start - self._base : end - self._base]
            outside = _outside(part, part, low, high)
            first = int(outside.argmax())
            if outside[first]:
                return start + first
            start = end
        return stop

    def _skip_blocks(self, block: int, stop: int, low: float, high: float) -> int:
        assert self._low is not None
        assert self._high is not None
        size = 16
        while block < stop:
            end = min(block + size, stop)
            outside = _outside(self._low[block:end], self._high[block:end], low, high)
            first = int(outside.argmax())
            if outside[first]:
                return block + first
            block, size = end, 4 * size
        return stop

    def calm_until(self, start: int, stop: int, fall: float, ceiling: float, history: int) -> int:
        """Find where a stretch may end in which no reading is below `fall` times any of the `history` readings
        before it.

        Nor is any at or above `ceiling`.

        Only known for long series; `start` where it is not.
        """
        if self._low is None or self._high is None:
            return start
        calm = self._calm(fall, ceiling, history)
        block = start // BLOCK
        ahead = calm[block:]
        if not len(ahead):
            return start
        return max(start, min(int(ahead[0]) * BLOCK, stop - stop % BLOCK))

    def _calm(self, fall: float, ceiling: float, history: int) -> NDArray[np.int64]:
        """For each block, the first block from there on that is not calm; worked out once for each ceiling."""
        if ceiling in self._calm_ends:
            return self._calm_ends[ceiling]
        assert self._low is not None
        assert self._high is not None
        highest = self._high.copy()
        for back in range(1, -(-history // BLOCK) + 1):
            np.maximum(highest[back:], self._high[:-back], out=highest[back:])
        restless = ~((self._low >= fall * highest) & (self._high < ceiling))
        ends = np.where(restless, np.arange(len(restless)), len(restless))
        found: NDArray[np.int64] = np.minimum.accumulate(ends[::-1])[::-1]
        self._calm_ends[ceiling] = found
        return found

    def nominal_s(self, index: int) -> float:
        """The nominal interval as known at reading `index`: the median of up to 64 spacings up to an anchor before it.

        Anchors are 4, 8, 16 .. 1024 and the multiples of 1024 after the last change of cadence, so the figure depends
        on the readings before it alone, and not on how they arrived. NaN before the fourth reading, where no cadence
        was told.
        """
        first, told_s = next((c for c in reversed(self.cadences) if c[0] <= index), (0, float("nan")))
        if index - first < 4:
            return told_s
        anchor = first + _anchor(index - first)
        if anchor not in self._nominal:
            if len(self._nominal) > 64:
                self._nominal.clear()
            spacing = np.diff(self.times(max(first, anchor - 64), anchor))
            if not len(spacing):
                return self._nominal[max(self._nominal)] if self._nominal else told_s
            self._nominal[anchor] = median(spacing)
        return self._nominal[anchor]


def _anchor(index: int) -> int:
    """A reading not after `index`, at which figures are taken anew: see `Track.nominal_s`."""
    return index - index % 1024 if index >= 1024 else 1 << (index.bit_length() - 1)


def _outside(least: NDArray[np.float64], most: NDArray[np.float64], low: float, high: float) -> NDArray[np.bool_]:
    """Find where [least, most] is not within low <= value < high; what is not a number is outside."""
    if high == np.inf:
        return ~(least >= low)
    if low == -np.inf:
        return ~(most < high)
    within = least >= low
    within &= most < high
    return ~within
