"""Cuts the resistance that a fault may have into cells, even in its logarithm."""

from __future__ import annotations

import numpy as np

from meterlog.circuit.faults.fault_rates import open_share
from meterlog.circuit.model.circuit import Circuit

LEAST_FAULT_SHARE = 0.03
"""A series resistance is called a fault from this drop at the load's current on, of the system voltage: 0.36 V at 12 V,
above the 0.3 V that makers' manuals allow a switch contact."""
CELL_WIDTH, PAIR_CELL_WIDTH = 0.4, 1.1
"""Width of a cell over the fault resistance, in its natural logarithm. Guesses: finer ones cost time."""
DENSE_LOADS, PAIR_DENSE_LOADS = 20.0, 8.0
"""The cells are even up to this multiple of the load's own resistance. Guesses."""
SPARSE_WIDTH, SPARSE_DENSITY = 2.5, 0.35
"""Above that cells are wider by this factor and their prior density is lower, since most faults that a person notices
let some current through. Guesses."""
MOST_FAULT_OHM = 1e6
"""A finite fault resistance ends here, ohm; beyond it is open. A guess."""
PAIR_HIGH = (400.0, 2.0, 1.0)
"""The one cell of a pair above its even ones: multiple of the load's resistance, log spread, weight. Guesses."""
SEAM_OVERLAP = 1.15
"""By how much a cell is wider than a uniform one, so that neighbours leave no seam. A guess."""
OhmCell = tuple[float, float, float]
"""Middle, ohm, log spread and weight of a cell over a fault resistance."""


def least_fault_ohm(circuit: Circuit, k: int | None = None) -> float:
    """The least series resistance of a part (left out: of one in the chain's load's way alone) that is called a fault,
    ohm (see `LEAST_FAULT_SHARE`)."""
    return LEAST_FAULT_SHARE * seen_ohm(circuit, k)


def seen_ohm(circuit: Circuit, k: int | None) -> float:
    """All that the battery sees beyond a part, ohm: the system's voltage over what the part carries."""
    return circuit.system_v / (circuit.load_a if k is None else float(circuit.carried_a[k]))


def resistance_cells(circuit: Circuit, step: float = CELL_WIDTH, k: int | None = None) -> list[OhmCell]:
    """Middle (ohm), log spread and weight of the cells over a part's fault resistance, even in its logarithm."""
    low, bend = least_fault_ohm(circuit, k), DENSE_LOADS * seen_ohm(circuit, k)
    sparse = _log_cells(bend, max(MOST_FAULT_OHM, 10 * bend), SPARSE_WIDTH * step, SPARSE_DENSITY)
    cells = _log_cells(low, bend, step, 1.0) + sparse
    total = sum(weight for _, _, weight in cells)
    return [(middle, spread, weight / total) for middle, spread, weight in cells]


def pair_cells(circuit: Circuit, k: int) -> list[OhmCell]:
    """One part of a pair: open, or a resistance; ohm, log spread and weight, which sum to 1."""
    middle, opens = seen_ohm(circuit, k), open_share(circuit, k)
    coarse = _log_cells(least_fault_ohm(circuit, k), PAIR_DENSE_LOADS * middle, PAIR_CELL_WIDTH, 1.0)
    multiple, spread, weight = PAIR_HIGH
    finite = [*coarse, (multiple * middle, spread, weight)]
    total = sum(w for _, _, w in finite)
    return [(np.inf, 0.0, opens), *((r, s, w / total * (1 - opens)) for r, s, w in finite)]


def _log_cells(low: float, high: float, step: float, density: float) -> list[OhmCell]:
    count = max(1, round(np.log(high / low) / step))
    edges = np.linspace(np.log(low), np.log(high), count + 1)
    width = edges[1] - edges[0]
    return [
        (float(np.exp(m)), float(width / np.sqrt(12)) * SEAM_OVERLAP, density * width) for m in (edges[:-1] + width / 2)
    ]
