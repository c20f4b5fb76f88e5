"""The figures of a vehicle that nobody knows exactly, and a measurement's dependence on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

UNKNOWNS = ("rest_v", "crank_v", "run_v", "share", "winding", "lamp", "lead", "fault_1", "fault_2")
"""The unknowns before the good parts' resistances, which follow in the order of the chain."""

WINDING_SPREAD = 0.4
"""Standard deviation of the log of a winding's stated resistance. A guess."""
FAULT_1 = UNKNOWNS.index("fault_1")
"""The first fault's resistance; the second one's follows."""
LEAK = FAULT_1 + 1
"""Says how well a wet connector leads; it has no second fault."""
LOGISTIC = 1.702
"""Slope of the logistic that stands in for the normal distribution: within 0.01 of it everywhere."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Prediction:
    """A measurement under every cell.

    Attributes:
        mean: shape (K,).
        slope: shape (K, P), change per standard deviation of each unknown; kept in single precision, since there are
            many.
        own: shape (K,) or (), standard deviation of what moves this reading alone, beside its meter's error.
    """

    mean: Array
    slope: NDArray[np.floating]
    own: Array | float = 0.0
