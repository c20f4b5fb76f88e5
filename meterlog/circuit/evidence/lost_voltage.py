"""Works out how much voltage each part at fault takes from the load: what explains a complaint is told before what is
merely not ideal."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import Cells
from meterlog.circuit.model.solve import load_model, solve
from meterlog.circuit.probability.posterior import Posterior
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.solved_cells import state_index
from meterlog.circuit.probability.unknowns import FAULT_1

COUNTS = 1e-4
"""Cells below this share of the likeliest one do not count. A guess."""

Array = NDArray[np.float64]


def lost_v(network: Network, known: Posterior) -> dict[str, float]:
    """The voltage that each part loses beyond a good one while the load is on, V, as expected where it is at fault.

    Args:
        network: the circuit and its cells.
        known: the cells' probabilities, and what the readings made of their resistances.
    """
    circuit, weight = network.circuit, known.weight
    keep = np.flatnonzero(weight > COUNTS * weight.max())
    share, cells = weight[keep], _as_read(network.cells.take(keep), known, keep)
    here = Network(circuit, cells)
    state = next((s for s in ("key_on", "run", "crank") if s in circuit.active), "off")
    load = load_model(circuit, current_share=cells.share, stalled=cells.stalled)
    found = solve(circuit, here.resistances(state), cells.source_v[:, state_index(state)], load)
    extra_ohm = np.minimum(cells.ohm - circuit.healthy_ohm(), 1e10)
    volts = np.abs(found.part_a * extra_ohm)
    expected = {}
    for k, part in enumerate(circuit.parts):
        member = (cells.part == k).any(axis=1)
        if k and share[member].sum() > 0:
            expected[part.id] = float((share[member] * volts[member, k]).sum() / share[member].sum())
    return expected


def _as_read(cells: Cells, known: Posterior, keep: NDArray[np.int64]) -> Cells:
    """Some cells with their fault resistances as the readings have them; `keep`, shape (k,), is where they are in all
    of them."""
    ohm, every = cells.ohm.copy(), np.arange(len(cells))
    for slot in (0, 1):
        rows = every[(cells.part[:, slot] >= 0) & (cells.ohm_spread[:, slot] > 0)]
        mean, _ = known.unknown(keep[rows], np.full(len(rows), FAULT_1 + slot))
        ohm[rows, cells.part[rows, slot]] *= np.exp(cells.ohm_spread[rows, slot] * mean)
    return replace(cells, ohm=ohm)


def heaviest_first(ids: Iterable[str], lost: Mapping[str, float]) -> list[str]:
    """Order parts by what they lose, the most first; what loses nothing keeps its place behind."""
    return sorted(ids, key=lambda id_: -lost.get(id_, 0.0))
