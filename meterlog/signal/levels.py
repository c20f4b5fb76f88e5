"""State levels by the histogram method of IEEE Std 181."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

_BINS = 64
"""Bins of the state histogram (IEEE 181 leaves their number open): a choice."""
_FEW = 8
"""Fewer readings make no histogram: a guess."""
_STRAY = 0.5
"""Roots of the fullest bin's count by which another may be less full, yet as likely the mode: by simulation."""
MAD_TO_DEVIATION = 1.4826
"""The median of absolute differences times this is the deviation of normal noise (1 / 0.6745, arithmetic)."""


def median(value: NDArray[np.floating[Any]]) -> float:
    """The median of readings without NaN, shape (n,), n >= 1: of a few it takes a tenth of the time of `numpy.median`,
    of a million half of it."""
    ordered = value.copy()
    ordered.sort()
    half = len(ordered) // 2
    return float(ordered[half]) if len(ordered) % 2 else float(ordered[half - 1] + ordered[half]) / 2.0


def second_highest(value: NDArray[np.float64]) -> float:
    """The highest that two readings reach, shape (n,), n >= 2: one alone may be wrong."""
    return float(np.partition(value, -2)[-2])


def high_level(value: NDArray[np.float64]) -> float:
    """The high state level of a pulse's readings, shape (n,), n >= 1.

    IEEE Std 181, histogram mode: split the amplitude range in the middle and take the commonest value of the upper
    half. With fewer than 8 readings there a mode is chance, and the median of the upper half is taken.
    """
    return _level(value[value >= (value.min() + value.max()) / 2])


def low_level(value: NDArray[np.float64]) -> float:
    """The low state level: as `high_level`, of the lower half."""
    return _level(value[value <= (value.min() + value.max()) / 2])


def state_levels(value: NDArray[np.float64]) -> tuple[float, float]:
    """The low and the high state level of readings, shape (n,), n >= 1."""
    return low_level(value), high_level(value)


def high_level_span(value: NDArray[np.float64]) -> tuple[float, float]:
    """From where to where the high state level may lie as far as these readings tell; arguments as `high_level`.

    Where the top of a pulse droops, its commonest value is chance: every bin that is as full as the fullest, but for
    the stray of a count (its root), may hold the level. Each of those levels moves by a reading when one more or less
    falls into the pulse.
    """
    half = np.sort(value[value >= (value.min() + value.max()) / 2])
    groups = [half] if len(half) < _FEW else _modes(half, _STRAY)
    spans = [
        (group[max((len(group) - 1) // 2 - 1, 0)], group[min(len(group) // 2 + 1, len(group) - 1)]) for group in groups
    ]
    return float(min(low for low, _ in spans)), float(max(high for _, high in spans))


def _level(half: NDArray[np.float64]) -> float:
    return median(half if len(half) < _FEW else _modes(half)[0])


def _modes(half: NDArray[np.float64], stray: float = 0.0) -> list[NDArray[np.float64]]:
    """The readings about the commonest value; with `stray` also those about each that may be as common.

    A lone peak is chance with few readings: the mode is sought in three bins together.
    """
    counts, edges = np.histogram(half, bins=min(_BINS, len(half) // 2))
    smooth = np.convolve(counts, np.ones(3), "same")
    most = smooth.max()
    likely = np.flatnonzero(smooth >= most - stray * most**0.5) if stray else [int(smooth.argmax())]
    return [half[(half >= edges[max(at - 1, 0)]) & (half <= edges[min(at + 2, len(counts))])] for at in likely]
