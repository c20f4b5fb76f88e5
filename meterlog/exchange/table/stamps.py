"""Says how fine a table's time stamps are: part of the error of each time, and what rows that share one are spread
over."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SHARED_ROWS = 1.5
"""From so many rows a stamp on, they are spread over the time until the next one. A guess."""
_FEW_ROWS = 20
"""So many rows must be seen for that."""
_DECIMALS = re.compile(r"(?:[.,](\d*))?(?:[eE]([-+]?\d+))?\s*$")
_CLOCK_PARTS = re.compile(r"\d+:\d+(?P<seconds>:\d+)?(?:[.,:](?P<part>\d+))?")


class Stamps(NamedTuple):
    """The stamps of a time column.

    Attributes:
        resolution_s: the step in which they can change, s.
        spread: whether rows that share a stamp are spread over that step.
    """

    resolution_s: float
    spread: bool = False

    def placed(self, time_s: Floats) -> tuple[Floats, float]:
        """Times of their own for rows that share a stamp, and by how much each may be wrong, s.

        A stamp is cut or rounded to its step, so a time is wrong by half of one, beside what all share. Rows that share
        a stamp were shown one after another within its step; where in their share of it is not known.
        """
        if not self.spread or not len(time_s):
            return time_s, self.resolution_s / 2
        starts = np.flatnonzero(np.concatenate(([True], np.diff(time_s) != 0)))
        sizes = np.diff(np.append(starts, len(time_s)))
        step_s = np.minimum(np.diff(time_s[starts], append=np.inf), self.resolution_s)
        rank = np.arange(len(time_s)) - np.repeat(starts, sizes)
        placed: Floats = time_s + rank * np.repeat(step_s / sizes, sizes)
        return placed, self.resolution_s * (0.5 + 1.0 / float(np.median(sizes)))

    @property
    def sentence(self) -> str:
        """Return what is said of rows that were spread."""
        return (
            f"several rows share each time stamp of {self.resolution_s:g} s: they are spread evenly over it, and each"
            " time carries that uncertainty"
        )


def stamps_of(time_s: Sequence[float], shown_s: float) -> Stamps:
    """Tell how fine a column's stamps are, and whether several rows share one.

    Shared stamps come only so often as they change, whatever decimals they show: whole seconds that are written 12.000,
    or readings that arrived in bundles.

    Args:
        time_s: the column's first times, s.
        shown_s: the step of the last decimal that any of them shows, s.
    """
    distinct = np.unique(time_s)
    if len(time_s) < _FEW_ROWS or len(time_s) < SHARED_ROWS * len(distinct):
        return Stamps(shown_s)
    apart_s = float(np.median(np.diff(distinct))) if len(distinct) > 1 else 0.0
    return Stamps(max(shown_s, apart_s), spread=True)


def number_resolution(cells: Sequence[str], scale_s: float) -> float:
    """The step of numbers, s: the last decimal that any of them shows."""
    most = 0
    for cell in cells:
        if match := _DECIMALS.search(cell):
            most = max(most, len(match[1] or "") - int(match[2] or 0))
    return scale_s * 10.0**-most


def clock_resolution(cells: Sequence[str]) -> float:
    """The step of clock times, s: the last decimal of a second that is shown, a second, a minute, or else a day."""
    step_s = 86_400.0
    for cell in cells:
        if match := _CLOCK_PARTS.search(cell):
            part = match["part"]
            step_s = min(step_s, 10.0 ** -len(part) if part else 1.0 if match["seconds"] else 60.0)
    return step_s
