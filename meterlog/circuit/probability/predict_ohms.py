"""Predicts what an ohmmeter shows in every cell, as y = log(R + 0.5 ohm): a tenth of an ohm counts, and a megohm
too."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import Cells
from meterlog.circuit.faults.fault_shares import LEAK_SPREAD
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import OPEN_OHM, seen_between
from meterlog.circuit.probability.unknowns import FAULT_1, LEAK, UNKNOWNS, WINDING_SPREAD, Prediction
from meterlog.circuit.readings.halves import half, load_between
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.unplugged import loads_out

LEAD_OHM, LEAD_SPREAD_OHM = 0.25, 0.17
"""Meter leads are 0.2-0.6 ohm (makers' manuals); people null them, or not."""
OHM_OFFSET = 0.5
"""Added before the logarithm, ohm: below it differences count as such, above it as ratios. A guess."""
OVERLOAD_OHM = 40e6
"""The top of a usual hand-held meter's range; it shows overload above."""
SHORT_OHM = 0.5
"""A chafed wire on the body. Guess."""
SHORTED_SHARE = 0.3
"""Of a load's own resistance, what is left at most where it is shorted inside: next to nothing from pin to pin, more
between turns. A guess."""
BRIDGED_SPREAD = 2.0
"""On the scale of log ohms, how little is foretold of ohms through a contact of which nobody said that it was bridged:
something else may lie beside it. A guess."""
COLD_FILAMENT, COLD_FILAMENT_SPREAD = 0.25, 0.6
"""A lamp's cold resistance relative to the hot one (from memory 1/10 to 1/3, unverified), and the log's spread."""
COLD_LOAD, COLD_LOAD_SPREAD = 0.5, 0.7
"""The same for a load of a stated resistance, which may be a coil or a filament. Guesses."""

Array = NDArray[np.float64]


def resistance(c: Circuit, cells: Cells, good_ohm: Array, m: Measurement) -> Prediction:
    """Ohms of the stretch of the chain between the probes, through the leads.

    `good_ohm`, shape (n,), is the standard deviation of each good part's resistance.
    A contact that opens by itself (a relay's) is at rest. Where it does not lie alone between the probes and they show
    ohms all the same, somebody has bridged it, or they show what lies before it.
    """
    lo, hi = _stretch(c, m)
    inside = np.zeros(len(c.parts), bool)
    inside[list(c.between(lo, hi))] = True
    apart = [k for load in loads_out(c, m) for k in c.plug_of(load)]
    of_load = half(c, m) == "load"
    alone_out = load_between(c, m) if of_load else None
    on_load = alone_out is not None or (of_load and bool(inside[c.load]))
    if alone_out is not None:
        inside[:] = False
        inside[alone_out] = True
    elif on_load:
        inside[[k for k in apart if k != c.load]] = False  # from the load's own contact, whatever lies behind it
    contacts = [k for k in c.commands.values() if inside[k]]
    count = len(cells)
    bridged = bool(contacts) and bool(np.isfinite(m.value)) and inside.sum() > 1
    load_ohm, cold_spread = _at_rest(c, c.load)
    ohm, good_ohm = _with_loads_at_rest(c, cells, good_ohm)
    for contact in c.commands.values():
        if not (bridged and inside[contact]):
            past = np.where(cells.fed_at == contact, np.minimum(cells.fed_ohm, OPEN_OHM), OPEN_OHM)
            ohm[:, contact] = np.where(cells.stuck_at == contact, ohm[:, contact], past)
    if not on_load:
        ohm[:, apart] = OPEN_OHM
    lead_ohm, lead_spread_ohm = (0.0, 0.0) if m.nulled else (LEAD_OHM, LEAD_SPREAD_OHM)
    seen_ohm, share = ohm[:, inside].sum(axis=1) + load_ohm * inside[c.load], np.broadcast_to(inside, ohm.shape)
    if c.branches and not on_load:
        seen_ohm, share = _beside_branches(c, ohm, inside, load_ohm, (lo, hi))
    if of_load and not on_load:
        seen_ohm = np.full(count, OPEN_OHM)
    alone = seen_ohm
    short_at = cells.short_at if alone_out is None else np.where(cells.short_at == alone_out, alone_out, -1)
    seen_ohm = _beside_short(c, short_at, seen_ohm, ohm, lo, hi)
    leak_ohm = np.zeros(count)
    if not on_load:
        seen_ohm, leak_ohm = _beside_leak(c, cells, seen_ohm, ohm, (lo, hi))
    # what lies beside the way takes its part of the meter's current
    share = share * (np.divide(seen_ohm, alone, out=np.ones(count), where=alone > 0) ** 2)[:, None]
    total = np.minimum(seen_ohm + lead_ohm, OVERLOAD_OHM)
    shown = np.log(total + OHM_OFFSET)
    per_ohm = np.where(total < OVERLOAD_OHM, 1 / (total + OHM_OFFSET), 0.0)
    moved_ohm = np.zeros((count, len(UNKNOWNS) + len(c.parts)))
    moved_ohm[:, UNKNOWNS.index("winding")] = load_ohm * share[:, c.load] * cold_spread
    moved_ohm[:, UNKNOWNS.index("lead")] = lead_spread_ohm
    moved_ohm[:, LEAK] = leak_ohm * LEAK_SPREAD
    for slot in (0, 1):
        k, every = cells.part[:, slot], np.arange(count)
        fault_ohm = np.where(k >= 0, ohm[every, k] * share[every, k], 0.0)
        moved_ohm[:, FAULT_1 + slot] += fault_ohm * cells.ohm_spread[:, slot]
    moved_ohm[:, len(UNKNOWNS) :] = share * good_ohm
    before = _short_before(c, cells, contacts, lo)
    unsure = np.where(before, 0.0, BRIDGED_SPREAD) if bridged else 0.0
    return Prediction(shown, moved_ohm * per_ohm[:, None], unsure)


def _short_before(circuit: Circuit, cells: Cells, contacts: list[int], lo: int) -> NDArray[np.bool_]:
    """Tell for each cell whether its short lies between the probe on the feed side and the first of some contacts."""
    shorts = np.unique(cells.short_at[cells.short_at >= 0]).tolist()
    reached = [k for k in shorts if not set(contacts) & set(circuit.between(lo, circuit.before[k]))]
    return np.isin(cells.short_at, reached)


def _with_loads_at_rest(c: Circuit, cells: Cells, good_ohm: Array) -> tuple[Array, Array]:
    """The cells' resistances, finite, and how far good ones spread, ohm, with the branches' loads at rest."""
    ohm, good_ohm = np.minimum(cells.ohm, OPEN_OHM), good_ohm.copy()
    for k in c.loads[1:]:
        rest_ohm, spread = _at_rest(c, k)
        ohm[:, k] = np.maximum(ohm[:, k] - c.healthy_ohm()[k] + rest_ohm, rest_ohm)
        good_ohm[k] = spread * rest_ohm
    return ohm, good_ohm


def _beside_branches(
    c: Circuit, ohm: Array, inside: NDArray[np.bool_], load_ohm: float, ends: tuple[int, int]
) -> tuple[Array, Array]:
    """Return what an ohmmeter sees between two nodes, ohm, with all branches beside the way, and by how much of its own
    change each part moves that, shape (K, n); the battery is apart, and contacts that are not on the way are open."""
    whole = ohm.copy()
    whole[:, 0] = OPEN_OHM
    for k, part in enumerate(c.parts):
        if (part.command or part.closed_in is not None) and not inside[k]:
            whole[:, k] = OPEN_OHM
    seen_ohm, around = seen_between(c, whole, load_ohm, *ends)
    # the meter's current splits: a part counts by the square of its share of it
    return seen_ohm, (c.loops.way[ends[0]] - c.loops.way[ends[1]] - around @ c.loops.loop) ** 2


def _at_rest(circuit: Circuit, k: int) -> tuple[float, float]:
    """A load's resistance at rest, ohm, and its log's spread: a winding, a lamp's filament, or what may be a coil."""
    part, ohm = circuit.parts[k], circuit.winding_of(k)
    if part.kind == "motor":
        return ohm, WINDING_SPREAD
    if part.resistance_ohm:
        return COLD_LOAD * ohm, COLD_LOAD_SPREAD
    return COLD_FILAMENT * ohm, COLD_FILAMENT_SPREAD


def _stretch(circuit: Circuit, m: Measurement) -> tuple[int, int]:
    i, j = sorted(circuit.ends(m.at, m.to), key=lambda node: circuit.order[node])
    return i, j


def _beside_short(circuit: Circuit, short: NDArray[np.int64], total: Array, ohm: Array, lo: int, hi: int) -> Array:
    """A short to ground lies beside the stretch from its feed side to the ground side."""
    if not circuit.on_feed_side[lo] or circuit.on_feed_side[hi]:
        return total
    found = total.copy()
    for k in np.unique(short[short >= 0]).tolist():
        way = list(circuit.between(lo, circuit.before[k]))
        short_ohm = min(SHORT_OHM, SHORTED_SHARE * circuit.winding_of(k)) if k in circuit.loads else SHORT_OHM
        path = short_ohm + ohm[short == k][:, way].sum(axis=1)
        found[short == k] = _parallel(total[short == k], path)
    return found


def _parallel(one: Array, other: Array) -> Array:
    return one * other / (one + other)


def _beside_leak(
    circuit: Circuit, cells: Cells, total: Array, ohm: Array, ends: tuple[int, int]
) -> tuple[Array, Array]:
    """A wet connector lies beside the stretch that has its two ends on the two sides of a load.

    Returns:
        What is seen then, ohm, shape (K,); and by how much the leak's own change moves that, ohm, shape (K,).
    """
    found, leak_ohm = total.copy(), np.zeros(len(total))
    for k in np.unique(cells.leak_at[cells.leak_at >= 0]).tolist():
        leads = (circuit.before[k], circuit.node(circuit.parts[k].leaks_to))
        wet = sorted(leads, key=lambda node: circuit.order[node])
        way = [part for near, far in zip(ends, wet, strict=True) for part in circuit.between(near, far)]
        if not set(circuit.loads) & set(way):
            rows = cells.leak_at == k
            path = cells.leak_ohm[rows] + ohm[rows][:, way].sum(axis=1)
            found[rows] = _parallel(total[rows], path)
            leak_ohm[rows] = cells.leak_ohm[rows] * (found[rows] / path) ** 2
    return found, leak_ohm
