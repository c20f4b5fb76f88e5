"""Weighs that the vehicle is not as the file says: each reading could be of this circuit, together of none.

Under a fault of the file the readings depend on one another: 12.3 V here makes 12.2 V there. In a circuit that is wired
otherwise each reading is still some usual one, but none foretells that of another place: the product of what each alone
is worth. The same place read again shows the same, however the vehicle is wired: readings of one place that disagree
are a bad one or a contact that comes and goes, and say nothing for a wrong drawing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import Cells
from meterlog.circuit.probability.bad_readings import BAD_READING
from meterlog.circuit.probability.fit import Fit
from meterlog.circuit.probability.noise import normal

OUTSIDE_SHARE = 0.02
"""Share of vehicles that are not as the file says (another branch, three faults, a wrong drawing). A guess."""
MODEL_WRONG = 0.02
"""Share of vehicles that are not as the model says (a part it does not know, three faults, a wrong drawing): for them
the readings say nothing and the fault rates stand. A guess; it keeps every part's probability below 98 %."""
ANYTHING_SHARE = 0.2
"""Share of their readings that are as a bad reading is: nothing, or anything. A guess."""

Array = NDArray[np.float64]


def log_outside(cells: Cells, fit: Fit, base: Array) -> float:
    """Log-weight of 'these readings fit nothing in this circuit', on the scale of the cells' (see `posterior`).

    `base`, shape (K,), is the cells' log-weight without the readings: what was tried or seen counts as it does for all
    of them together.
    """
    usual = np.log((1 - ANYTHING_SHARE) * (cells.prior @ fit.alone()) + ANYTHING_SHARE * np.exp(fit.log_bad))
    worth = [usual[i] if not before else _again(fit, i, before, usual[i]) for i, before in enumerate(fit.before)]
    return math.log(OUTSIDE_SHARE) + float(np.logaddexp.reduce(base)) + float(sum(worth))


def _again(fit: Fit, i: int, before: Sequence[int], usual: float) -> float:
    """The log-density of a reading whose place was read before: as one of those showed, unless that or this was bad."""
    spread = math.sqrt(2) * fit.noise[i]
    same = sum(normal(fit.y[i] - fit.y[j], spread) for j in before) / len(before)
    other = (1 - BAD_READING) * BAD_READING * math.exp(usual) + BAD_READING * math.exp(fit.log_bad[i])
    return math.log((1 - BAD_READING) ** 2 * same + other)
