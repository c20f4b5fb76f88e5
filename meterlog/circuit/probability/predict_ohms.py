"""Predicts what an ohmmeter shows in every cell, as y = log(R + 0.5 ohm): a tenth of an ohm counts, and a megohm
too."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.fault_cells import Cells
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import OPEN_OHM, seen_between
from meterlog.circuit.probability.unknowns import FAULT_1, UNKNOWNS, WINDING_SPREAD, Prediction
from meterlog.circuit.readings.halves import half
from meterlog.circuit.readings.measurement import Measurement

LEAD_OHM, LEAD_SPREAD_OHM = 0.25, 0.17
"""Meter leads are 0.2-0.6 ohm (makers' manuals); people null them, or not."""
OHM_OFFSET = 0.5
"""Added before the logarithm, ohm: below it differences count as such, above it as ratios. A guess."""
OVERLOAD_OHM = 40e6
"""The top of a usual hand-held meter's range; it shows overload above."""
SHORT_OHM = 0.5
"""A chafed wire on the body. Guess."""
COLD_FILAMENT, COLD_FILAMENT_SPREAD = 0.25, 0.6
"""A lamp's cold resistance relative to the hot one (from memory 1/10 to 1/3, unverified), and the log's spread."""
COLD_LOAD, COLD_LOAD_SPREAD = 0.5, 0.7
"""The same for a load of a stated resistance, which may be a coil or a filament. Guesses."""

Array = NDArray[np.float64]


def resistance(c: Circuit, cells: Cells, good_ohm: Array, m: Measurement) -> Prediction:
    """Ohms of the stretch of the chain between the probes, through the leads.

    `good_ohm`, shape (n,), is the standard deviation of each good part's resistance.
    A contact that opens by itself (a relay's) is measured at rest where it alone is between the probes. Within a longer
    stretch it says nothing where it shows open, and was bridged where it shows ohms: the prediction is NaN.
    """
    lo, hi = _stretch(c, m)
    inside = np.zeros(len(c.parts), bool)
    inside[list(c.between(lo, hi))] = True
    apart = list(c.plug) if m.load != "connected" else []
    on_load = half(c, m) == "load" and bool(inside[c.load])
    if on_load:
        inside[[k for k in apart if k != c.load]] = False  # from the load's own contact, whatever lies behind it
    contacts = [k for k in c.commands.values() if inside[k]]
    count = len(cells)
    at_rest = len(contacts) == 1 and inside.sum() == 1
    if contacts and np.isinf(m.value) and not at_rest:
        return Prediction(np.full(count, np.nan), np.zeros((count, len(UNKNOWNS) + len(c.parts))))
    cold, cold_spread = _cold(c)
    own = c.winding_ohm * cold if inside[c.load] else 0.0
    ohm = np.minimum(cells.ohm, OPEN_OHM)
    if at_rest:
        ohm = ohm.copy()
        past = np.where(cells.fed_at == contacts[0], np.minimum(cells.fed_ohm, OPEN_OHM), OPEN_OHM)
        ohm[:, contacts[0]] = np.where(cells.stuck_at == contacts[0], ohm[:, contacts[0]], past)
    if not on_load and any(inside[k] for k in apart):
        ohm = ohm.copy()
        ohm[:, [k for k in apart if inside[k]]] = OPEN_OHM
    lead_ohm, lead_spread_ohm = (0.0, 0.0) if m.nulled else (LEAD_OHM, LEAD_SPREAD_OHM)
    total = ohm[:, inside].sum(axis=1) + own + lead_ohm
    if c.branches and not on_load:
        total = lead_ohm + _beside_branches(c, ohm, inside, c.winding_ohm * cold, (lo, hi))
    if half(c, m) == "load" and not on_load:
        total = np.full(count, OPEN_OHM)
    total = _beside_short(c, cells, total, ohm, lo, hi)
    total = np.minimum(total, OVERLOAD_OHM)
    shown = np.log(total + OHM_OFFSET)
    per_ohm = np.where(total < OVERLOAD_OHM, 1 / (total + OHM_OFFSET), 0.0)
    slope = np.zeros((count, len(UNKNOWNS) + len(c.parts)))
    slope[:, UNKNOWNS.index("winding")] = own * cold_spread * per_ohm
    slope[:, UNKNOWNS.index("lead")] = lead_spread_ohm * per_ohm
    for slot in (0, 1):
        k = cells.part[:, slot]
        there = (k >= 0) & inside[k]
        fault = np.where(there, ohm[np.arange(count), k], 0.0)
        slope[:, FAULT_1 + slot] = fault * cells.ohm_spread[:, slot] * per_ohm
    slope[:, len(UNKNOWNS) :] = np.where(inside, good_ohm, 0.0) * per_ohm[:, None]
    return Prediction(shown, slope)


def _beside_branches(
    c: Circuit, ohm: Array, inside: NDArray[np.bool_], load_ohm: float, ends: tuple[int, int]
) -> Array:
    """Return what an ohmmeter sees between two nodes, with all branches beside the way; the battery is apart, and
    contacts that are not on the way are open."""
    whole = ohm.copy()
    whole[:, 0] = OPEN_OHM
    for k, part in enumerate(c.parts):
        if (part.command or part.closed_in is not None) and not inside[k]:
            whole[:, k] = OPEN_OHM
    return seen_between(c, whole, load_ohm, *ends)[0]


def _cold(circuit: Circuit) -> tuple[float, float]:
    """A load's resistance at rest over that at work, and the log's spread: a lamp's filament, or what may be a coil."""
    part = circuit.parts[circuit.load]
    if part.kind == "motor":
        return 1.0, WINDING_SPREAD
    return (COLD_LOAD, COLD_LOAD_SPREAD) if part.resistance_ohm else (COLD_FILAMENT, COLD_FILAMENT_SPREAD)


def _stretch(circuit: Circuit, m: Measurement) -> tuple[int, int]:
    if m.at == m.to and m.at in circuit.part_index:
        k = circuit.part_index[m.at]
        return circuit.across(k)
    i, j = sorted((circuit.node(m.at), circuit.node(m.to)), key=lambda node: circuit.order[node])
    return i, j


def _beside_short(circuit: Circuit, cells: Cells, total: Array, ohm: Array, lo: int, hi: int) -> Array:
    """A short to ground lies beside the stretch from its feed side to the ground side."""
    short = cells.short_at
    if not (lo < circuit.load <= hi) or not (short >= 0).any():
        return total
    found = total.copy()
    for c in np.flatnonzero(short >= 0):
        a, b = sorted((lo, int(short[c]) - 1))
        path = SHORT_OHM + LEAD_OHM + float(ohm[c, a + 1 : b + 1].sum())
        found[c] = 1 / (1 / total[c] + 1 / path)
    return found
