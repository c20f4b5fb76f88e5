"""Tells how many readings show one look at the circuit, where they come faster than the display changes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_LEAST_RUNS = 20
_EARLY = 0.05
"""At most this share of the runs may be shorter: what a change at the edge of a poll, or a lost reading, cuts off."""
_ALIKE = 0.5
"""At least this share of the runs must be one look long: digits that change by noise at a calm supply leave runs of all
lengths, fewer the longer, and then nothing is said. A choice."""
_MOST = 1 << 16


def readings_a_look(value: NDArray[np.float64]) -> float:
    """Estimate how many readings repeat one look, from the lengths of runs of one value, shape (n,).

    A display that is polled m times a look changes its digits after m readings or a multiple of that, never sooner.

    Returns:
        m, 1 and above; 1 where the readings do not tell.
    """
    value = value[:_MOST]
    lengths = np.diff(np.flatnonzero(value[1:] != value[:-1]))  # whole runs only
    if len(lengths) < _LEAST_RUNS:
        return 1.0
    shortest = float(np.quantile(lengths, _EARLY, method="lower"))
    alike = lengths[(lengths >= shortest) & (lengths <= shortest + 1)]
    if shortest < 2 or np.mean(lengths < shortest) > _EARLY or len(alike) < _ALIKE * len(lengths):
        return 1.0
    return float(alike.mean())
