"""Finds a bar graph beside the number: bits that are a function of the number say nothing that it does not say.

A bar's length is the number in coarse steps, so its code is a staircase over the number, the same in every range. Its
steps are even: so a sign, a point or a symbol beside a bar is never taken for a part of it, whatever numbers happened
to be shown with it, since a bit that is not its own makes a step too high. And a bit within it that never changed is
its own, since without it the steps would not be even.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.number_fit import Bits

LEAST_STEPS = 4
"""Different lengths without which nothing is said of a bar; a guess."""
LEAST_EVIDENCE = 20
"""Bits of evidence for one of the 2**13 staircases that are tried; a choice, as for digits."""
MOST_SPREAD = 1.05
"""Steps within which a length keeps beside a straight line: in whatever way it is rounded, it keeps within one; the
rest is for a display that moved on, and for lines that are not tried (guess)."""
SLOPES = 41
"""Lines that are tried between the flattest and the steepest that the two ends allow."""

Counts = NDArray[np.int64]
Run = tuple[int, ...]


def bar_bits(counts: Sequence[int], bits: Bits, ours: Collection[int]) -> frozenset[int]:
    """Find the bits that are a bar's.

    Args:
        counts: what the digits show, without sign and point.
        bits: the frame of each.
        ours: bits that are not the number's, of marks or of a checksum.
    """
    if len(set(counts)) < LEAST_STEPS:
        return frozenset()
    order = np.argsort(counts, kind="stable")
    numbers, frames = np.array(counts, dtype=np.int64)[order], bits[order]
    changing = [bit for bit in sorted(ours) if 0 < frames[:, bit].sum() < len(frames)]
    fitting = [run for run in _runs(changing, ours) if _is_staircase(numbers, frames[:, run])]
    return frozenset(bit for run in fitting for bit in run)


def _runs(changing: Sequence[int], ours: Collection[int]) -> Iterator[Run]:
    """Neighbouring bits of a byte, the highest first; those at its ends have changed."""
    for first, last in combinations(changing, 2):
        run = tuple(range(first, last + 1))
        if first // 8 == last // 8 and set(run) <= set(ours):
            yield run


def _is_staircase(numbers: Counts, code: Bits) -> bool:
    """Tell whether a code rises with the number in even steps, once the right bits are turned over.

    To a whole byte a constant may have been added in place of that.
    """
    size = code.shape[1]
    length = code.astype(np.int64) @ (1 << np.arange(size)[::-1])
    every = np.arange(1 << size)[:, None]
    tried = length ^ every
    if size == 8:
        tried = np.concatenate([tried, length - every & 0xFF])
    return any(_straight(numbers, one) for one in tried[(np.diff(tried, axis=1) >= -1).all(axis=1)])


def _straight(numbers: Counts, length: Counts) -> bool:
    """Tell whether a length is the number in steps, too well for chance."""
    steps, reach = len(np.unique(length)), length[-1] - length[0] + 1
    if min(steps, reach) < LEAST_STEPS or (steps - 2) * np.log2(reach) < LEAST_EVIDENCE:
        return False
    slopes = (reach - 1 + np.linspace(-1, 1, SLOPES)) / (numbers[-1] - numbers[0])
    beside = length - slopes[:, None] * numbers
    return bool(np.ptp(beside, axis=1).min() <= MOST_SPREAD)
