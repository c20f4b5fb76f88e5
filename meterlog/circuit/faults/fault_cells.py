"""Lists everything that may be wrong: single faults, pairs of them, nothing; each in vehicles made otherwise, too."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults import fault_shares as shares
from meterlog.circuit.faults.cells import COIL_STATE, Cells, Row, as_cells
from meterlog.circuit.faults.fault_ohms import pair_cells
from meterlog.circuit.faults.fault_rates import Rates, part_rate
from meterlog.circuit.faults.single_faults import single_faults
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import load_model, solve

PULL_IN_SHARE, HOLDS_SHARE = 0.58, 0.3
"""Of the system voltage, where a solenoid pulls in: 7.0 of 12 V, as 12 V relays must (makers' datasheets), and down to
which one that is in stays so (a guess; datasheets say that it must let go at 0.1)."""
CHATTER_SHARE = 0.25
"""Standard deviation of what a meter shows while a solenoid chatters, of the way from the starter's load to rest. A
guess."""
LEAST_SINGLE_SHARE = 1e-3
"""Single faults keep this prior, whatever a file of rates gives to the others."""
Array = NDArray[np.float64]


def all_cells(circuit: Circuit, rates: Rates) -> Cells:
    """Every cell of a circuit."""
    series = list(range(1, len(circuit.parts)))
    single = single_faults(circuit, rates, series)
    total = sum(row.prior for row in single)
    healthy, pair, comes_and_goes = (rates.of(n, n) for n in ("healthy", "pair", "intermittent"))
    rest = max(1 - healthy - pair - comes_and_goes, LEAST_SINGLE_SHARE)
    for row in single:
        row.prior *= rest / total
    table = [*_healthy(circuit, healthy), *_by_design(circuit, single), *_pairs(circuit, rates, series, pair)]
    if circuit.charges:
        for row in table:
            row.share_spread = shares.CHARGING_SPREAD
            if row.source[2] == shares.RUN_V:
                row.source = (shares.REST_V, shares.CRANK_V, shares.CHARGER_V)
    cells = as_cells(circuit, table)
    if circuit.turns_engine:
        _rest_where_engine_stands(circuit, cells)
    return cells


def _rest_where_engine_stands(circuit: Circuit, cells: Cells) -> None:
    """Give the cells in which the starter's load does not pull in the resting voltage while cranking, too; in those in
    which it pulls in and lets go as the battery gives way it chatters, and a meter shows more than the least."""
    ohm = cells.ohm.copy()
    for k, part in enumerate(circuit.parts):
        if not part.closed("crank"):
            ohm[:, k] = np.inf
    for k in circuit.commands.values():
        missing = cells.coil_share[:, COIL_STATE["crank"]] < PULL_IN_SHARE
        ohm[missing & ((cells.command_at == k) | (cells.command_at < 0)), k] = np.inf
    load = load_model(circuit, current_share=cells.share, stalled=cells.stalled)

    def reaches(source_v: Array, share: float) -> NDArray[np.bool_]:
        return np.asarray(solve(circuit, ohm, source_v, load).load_v >= share * circuit.system_v)

    rest, crank = cells.source_v[:, 0].copy(), cells.source_v[:, 1].copy()
    pulls_in = reaches(np.maximum(rest, crank), PULL_IN_SHARE)
    chatters = pulls_in & ~reaches(crank, HOLDS_SHARE)
    cells.source_v[~pulls_in, 1] = rest[~pulls_in]
    cells.source_spread_v[~pulls_in, 1] = cells.source_spread_v[~pulls_in, 0]
    cells.source_spread_v[chatters, 1] = CHATTER_SHARE * np.abs(rest - crank)[chatters]


def _healthy(circuit: Circuit, share: float) -> list[Row]:
    """The cells in which nothing is wrong, those of vehicles that behave otherwise by design apart."""
    if circuit.turns_engine:
        stands = Row(share * shares.ENGINE_STANDS, "healthy", source=(shares.REST_V, shares.REST_V, shares.RUN_V))
        return [Row(share * (1 - shares.ENGINE_STANDS), "healthy"), stands]
    return _by_design(circuit, [Row(share, "healthy")])


def _by_design(circuit: Circuit, rows: list[Row]) -> list[Row]:
    """The rows as they are in most vehicles, and in those that are made otherwise: they close only in crank, or bridge
    while cranking what else loses voltage by design."""
    others: list[tuple[float, dict[str, Any]]] = []
    if circuit.commands and {"key_on", "crank"} <= set(circuit.active):
        others.append((shares.CLOSES_ONLY_CRANKING, {"coil_share": shares.NOT_AT_KEY_ON}))
    if "crank" in circuit.active and any(
        part.by_design and not circuit.bypassed(k) for k, part in enumerate(circuit.parts)
    ):
        others.append((shares.BRIDGED_WHILE_CRANKING, {"bridged": True}))
    usual = 1 - sum(share for share, _ in others)
    found = [replace(row, prior=row.prior * usual) for row in rows]
    for share, change in others:
        found += [replace(row, prior=row.prior * share, **change) for row in rows if row.command_at < 0]
    return found


def _pairs(circuit: Circuit, rates: Rates, series: list[int], mass: float) -> list[Row]:
    """Two series faults at once, on a coarser grid."""
    ways = {k: pair_cells(circuit, k) for k in series}
    found: list[Row] = []
    for x, a in enumerate(series):
        for b in series[x + 1 :]:
            both = part_rate(circuit, a, rates) * part_rate(circuit, b, rates)
            both *= shares.BY_DESIGN_PAIR_SHARE if circuit.parts[a].by_design or circuit.parts[b].by_design else 1.0
            for ra, sa, wa in ways[a]:
                for rb, sb, wb in ways[b]:
                    fault = "open" if np.isinf(max(ra, rb)) else "high_resistance"
                    found.append(Row(both * wa * wb, fault, (a, b), (ra, rb), (sa, sb)))
    total = sum(row.prior for row in found)
    for row in found:
        row.prior *= mass / total if total else 0.0
    return found
