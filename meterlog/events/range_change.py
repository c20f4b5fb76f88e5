"""The meter changed its range: for a moment it shows nothing, overload, or a number of the range before."""

from __future__ import annotations

import numpy as np

from meterlog.events.event import Event
from meterlog.series import Series

_RATIO = 3.0
"""Ranges are decades or near that: smaller changes of the shown resolution are rounding, not a range."""


LONGEST_S = 4.0
"""A change of range takes a meter up to some seconds, s: a guess."""


def is_ranging(wait_s: float, before: float, after: float) -> bool:
    """Tell whether a meter that showed nothing for `wait_s` changed its range, by one count before and after."""
    return wait_s <= LONGEST_S and max(before, after) >= _RATIO * min(before, after) > 0.0


class RangeChanges:
    """Finds where the shown resolution changes from one number to the next; overload in between belongs to it."""

    def __init__(self, channel: int) -> None:
        self.events: list[Event] = []
        self._channel = channel
        self._last: tuple[float, float] | None = None

    def feed(self, series: Series) -> None:
        """Take on more readings, in time order."""
        resolution = series.resolution
        first, last = float(resolution[0]), float(resolution[-1])
        same = self._last is None or self._last[1] == first
        if same and first == last and np.isfinite(series.value[-1]) and not (resolution[1:] != resolution[:-1]).any():
            self._last = (float(series.time_s[-1]), last)
            return
        shown = np.flatnonzero(np.isfinite(series.value) & (resolution > 0.0))
        for index in shown:
            now = (float(series.time_s[index]), float(resolution[index]))
            if self._last is not None and now[1] != self._last[1]:
                self._compare(*self._last, *now)
            self._last = now

    def _compare(self, before_s: float, old: float, after_s: float, new: float) -> None:
        if max(old, new) < _RATIO * min(old, new):
            return
        self.events.append(
            Event(
                "range_change",
                self._channel,
                before_s,
                after_s,
                after_s - before_s,
                detail=f"the meter changed its range (one count {old:.3g}, then {new:.3g}); nothing seen between",
            )
        )
