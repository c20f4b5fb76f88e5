"""Everything that may be wrong: single faults, pairs of series faults, and nothing, as cells over fault resistance.

A *cell* is one fault (or pair, or none) with its resistance near one value; all cells of a circuit are one set of
arrays, so that the network is solved for all of them at once. Within a cell the resistance is log-normal, and so
are the figures nobody knows exactly (source voltage, the load's current, the good parts' resistances).
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults import fault_shares as shares
from meterlog.circuit.faults.fault_rates import Rates, open_share, part_rate
from meterlog.circuit.model.circuit import WINDING_SHARE, Circuit
from meterlog.circuit.model.solve import load_model, solve

FAULTS = (
    "open",
    "high_resistance",
    "short_to_ground",
    "wrong_size",
    "not_commanded",
    "half_commanded",
    "weakly_commanded",
    "stuck_closed",
    "fed_elsewhere",
    "leaks",
    "stalled",
    "weak",
    "intermittent",
    "healthy",
)
COMMAND_FAULTS = ("not_commanded", "half_commanded", "weakly_commanded")
"""Faults of what should close a contact: they stand on the command's id."""
COIL_STATE = {"off": 0, "key_on": 1, "prime": 1, "crank": 2, "run": 3}
"""Columns of `Cells.coil_share`: the states in which a coil may be fed differently."""

PULL_IN_SHARE, HOLDS_SHARE = 0.58, 0.3
"""Of the system voltage, where a solenoid pulls in: 7.0 of 12 V, as 12 V relays must (makers' datasheets), and down to
which one that is in stays so (a guess; datasheets say that it must let go at 0.1)."""
LEAST_FAULT_SHARE = 0.03
"""A series resistance is called a fault from this drop at the load's current on, of the system voltage: 0.36 V at 12 V,
above the 0.3 V that makers' manuals allow a switch contact."""
LEAST_IN_LOAD = {"motor": 8.0, "load": 3.0}
"""Times that from which more resistance inside the load is a fault of it: less is how loads differ, and no reading
tells it. A motor that loses a quarter of its voltage inside turns a quarter slower. Guesses."""
LEAST_SINGLE_SHARE = 1e-3
"""Single faults keep this prior, whatever a file of rates gives to the others."""

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

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Cells:
    """All that may be wrong with one circuit, K cells over n parts.

    Attributes:
        part: shape (K, 2), the parts at fault by position, -1 for none.
        fault: shape (K,), index into `FAULTS`.
        prior: shape (K,), sums to 1.
        ohm: shape (K, n), series resistances; the load's entry is a fault inside it.
        ohm_spread: shape (K, 2), standard deviation of the log of each fault resistance in the cell.
        source_v: shape (K, 3), middle of the source voltage at rest, cranking, running, V.
        source_spread_v: shape (K, 3), its standard deviation, V.
        share: shape (K,), the load's current relative to its stated one.
        share_spread: shape (K,), standard deviation of its log.
        stalled: shape (K,).
        coil_share: shape (K, 4), the source's voltage that reaches the coil by `COIL_STATE`, where the circuit is on.
        command_at: shape (K,), position of the part whose command fails, -1 for all of them.
        stuck_at: shape (K,), position of the contact that never opens, -1 for none.
        fed_at: shape (K,), position of the contact that a feed from elsewhere passes, -1 for none.
        fed_ohm: shape (K,), that feed's resistance, ohm; inf for none.
        small_fuse: shape (K,), the blown fuse is of too small a size.
        bridged: shape (K,), parts whose loss is meant are bridged while cranking.
        neighbour_ohm: shape (K,), another load that returns through the bad ground, ohm; inf for none.
        short_at: shape (K,), position of the part shorted to ground, -1 for none (its fuse has blown).
        leak_at: shape (K,), position of the wet connector, -1 for none.
        leak_ohm: shape (K,), from the node before it to where it leads, ohm; inf for none.
    """

    part: NDArray[np.int64]
    fault: NDArray[np.int64]
    prior: Array
    ohm: Array
    ohm_spread: Array
    source_v: Array
    source_spread_v: Array
    share: Array
    share_spread: Array
    stalled: NDArray[np.bool_]
    coil_share: Array
    command_at: NDArray[np.int64]
    stuck_at: NDArray[np.int64]
    fed_at: NDArray[np.int64]
    fed_ohm: Array
    small_fuse: NDArray[np.bool_]
    bridged: NDArray[np.bool_]
    neighbour_ohm: Array
    short_at: NDArray[np.int64]
    leak_at: NDArray[np.int64]
    leak_ohm: Array

    def __len__(self) -> int:
        return len(self.prior)

    def take(self, keep: NDArray[np.int64]) -> Cells:
        """Some of the cells; their priors no longer sum to 1."""
        return Cells(**{field.name: getattr(self, field.name)[keep] for field in fields(self)})


@dataclass(slots=True)
class _Row:
    """One cell while the list is built."""

    prior: float
    fault: str
    parts: tuple[int, ...] = ()
    ohms: tuple[float, ...] = ()
    spreads: tuple[float, ...] = ()
    share: float = 1.0
    share_spread: float = 0.0
    source: shares.Source = (shares.REST_V, shares.CRANK_V, shares.RUN_V)
    stalled: bool = False
    coil_share: shares.Coil = shares.FED
    command_at: int = -1
    stuck_at: int = -1
    fed_at: int = -1
    fed_ohm: float = np.inf
    small_fuse: bool = False
    bridged: bool = False
    neighbour_ohm: float = np.inf
    short_at: int = -1
    leak_at: int = -1
    leak_ohm: float = np.inf


def first_healthy(cells: Cells) -> int:
    """The cell in which nothing is wrong and the circuit primes."""
    return int(np.flatnonzero(cells.fault == FAULTS.index("healthy"))[0])


def single_open(cells: Cells, k: int) -> int:
    """The cell in which part k alone is open; -1 where that is no fault of it."""
    alone = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0) & (cells.fault == FAULTS.index("open"))
    return int(np.append(np.flatnonzero(alone), -1)[0])


def interrupted(cells: Cells, k: int) -> int:
    """The cell in which what comes and goes is gone: part k is open, or from n on the command of part k - n is missing;
    -1 where there is none."""
    n = cells.ohm.shape[1]
    if k < n:
        return single_open(cells, k)
    missing = (cells.fault == FAULTS.index("not_commanded")) & (cells.command_at == k - n)
    return int(np.append(np.flatnonzero(missing), -1)[0])


def single_resistive(cells: Cells, k: int) -> NDArray[np.bool_]:
    """The cells in which part k alone has too much resistance, shape (K,)."""
    alone = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0)
    usual = (cells.coil_share == np.array(shares.FED)).all(axis=1) & ~cells.bridged & np.isinf(cells.neighbour_ohm)
    return np.asarray(alone & usual & (cells.fault == FAULTS.index("high_resistance")))


def all_cells(circuit: Circuit, rates: Rates) -> Cells:
    """Every cell of a circuit."""
    series = list(range(1, len(circuit.parts)))
    single = _singles(circuit, rates, series)
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
    cells = _arrays(circuit, table)
    if circuit.turns_engine:
        _rest_where_engine_stands(circuit, cells)
    return cells


def _rest_where_engine_stands(circuit: Circuit, cells: Cells) -> None:
    """Give the cells in which the starter's load does not pull in the resting voltage while cranking, too."""
    ohm = cells.ohm.copy()
    for k, part in enumerate(circuit.parts):
        if not part.closed("crank"):
            ohm[:, k] = np.inf
    for k in circuit.commands.values():
        missing = cells.coil_share[:, COIL_STATE["crank"]] < PULL_IN_SHARE
        ohm[missing & ((cells.command_at == k) | (cells.command_at < 0)), k] = np.inf
    load = load_model(circuit, current_share=cells.share, stalled=cells.stalled)
    stands = solve(circuit, ohm, cells.source_v[:, 1], load).load_v < PULL_IN_SHARE * circuit.system_v
    cells.source_v[stands, 1] = cells.source_v[stands, 0]
    cells.source_spread_v[stands, 1] = cells.source_spread_v[stands, 0]


def least_fault_ohm(circuit: Circuit, k: int | None = None) -> float:
    """The least series resistance of a part (left out: of one in the chain's load's way alone) that is called a fault,
    ohm (see `LEAST_FAULT_SHARE`)."""
    return LEAST_FAULT_SHARE * _seen_ohm(circuit, k)


def _seen_ohm(circuit: Circuit, k: int | None) -> float:
    """All that the battery sees beyond a part, ohm: the system's voltage over what the part carries."""
    return circuit.system_v / (circuit.load_a if k is None else float(circuit.carried_a[k]))


def resistance_cells(
    circuit: Circuit, step: float = CELL_WIDTH, k: int | None = None
) -> list[tuple[float, float, float]]:
    """Middle (ohm), log spread and weight of the cells over a part's fault resistance, even in its logarithm."""
    low, bend = least_fault_ohm(circuit, k), DENSE_LOADS * _seen_ohm(circuit, k)
    sparse = _log_cells(bend, max(MOST_FAULT_OHM, 10 * bend), SPARSE_WIDTH * step, SPARSE_DENSITY)
    cells = _log_cells(low, bend, step, 1.0) + sparse
    total = sum(weight for _, _, weight in cells)
    return [(middle, spread, weight / total) for middle, spread, weight in cells]


def _log_cells(low: float, high: float, step: float, density: float) -> list[tuple[float, float, float]]:
    count = max(1, round(np.log(high / low) / step))
    edges = np.linspace(np.log(low), np.log(high), count + 1)
    width = edges[1] - edges[0]
    return [
        (float(np.exp(m)), float(width / np.sqrt(12)) * SEAM_OVERLAP, density * width) for m in (edges[:-1] + width / 2)
    ]


def _healthy(circuit: Circuit, share: float) -> list[_Row]:
    """The cells in which nothing is wrong, those of vehicles that behave otherwise by design apart."""
    if circuit.turns_engine:
        stands = _Row(share * shares.ENGINE_STANDS, "healthy", source=(shares.REST_V, shares.REST_V, shares.RUN_V))
        return [_Row(share * (1 - shares.ENGINE_STANDS), "healthy"), stands]
    return _by_design(circuit, [_Row(share, "healthy")])


def _by_design(circuit: Circuit, rows: list[_Row]) -> list[_Row]:
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


def _singles(circuit: Circuit, rates: Rates, series: list[int]) -> list[_Row]:
    found: list[_Row] = []
    for k in series:
        part, rate = circuit.parts[k], part_rate(circuit, k, rates)
        least_in_load = LEAST_IN_LOAD[part.kind] * least_fault_ohm(circuit, k) if k in circuit.loads else 0.0
        finite = [cell for cell in resistance_cells(circuit, k=k) if cell[0] >= least_in_load]
        share = shares.SERIES_SHARE.get(part.kind, 1.0)
        if circuit.charges and k == circuit.load:
            share = shares.CHARGED_BATTERY_SERIES_SHARE
        opens = open_share(circuit, k)
        high = rate * share * (1 - opens) * (shares.BY_DESIGN_SHARE if part.by_design else 1.0)
        small = shares.SMALL_FUSE_SHARE if part.kind == "fuse" else 0.0
        found.append(_Row(rate * share * opens * (1 - small), "open", (k,), (np.inf,), (0.0,)))
        if small:
            found.append(_Row(rate * share * opens * small, "wrong_size", (k,), (np.inf,), (0.0,), small_fuse=True))
        for neighbour_ohm, share_of in _neighbours(circuit, k):
            found += [
                _Row(high * w * share_of, "high_resistance", (k,), (ohm,), (spread,), neighbour_ohm=neighbour_ohm)
                for ohm, spread, w in finite
            ]
        if part.leaks_to:
            found += _wet(circuit, k, rate * shares.WET_SHARE)
        if part.kind == "wire" and fuse_before(circuit, k) > 0:
            found.append(_Row(rate * shares.CHAFED_WIRE_SHARE, "short_to_ground", (k,), short_at=k))
        if part.closed_in is not None and not part.command and "off" not in circuit.active:
            found.append(_Row(rate * shares.STUCK_CONTACT, "stuck_closed", (k,), stuck_at=k))
    for k in circuit.loads:
        found += _load_faults(circuit, rates, k)
    found += _battery_faults(circuit, part_rate(circuit, 0, rates))
    for command, k in circuit.commands.items():
        found += _command_faults(circuit, rates.of(command, "command"), k)
        found += _always_on(circuit, rates, k)
    return found


def _wet(circuit: Circuit, k: int, rate: float) -> list[_Row]:
    """A connector that leaks to another contact: alone, or with the loss that corrosion makes in it."""
    lossy = [((ohm,), (s,), shares.GREEN_SHARE * w) for ohm, s, w in resistance_cells(circuit, PAIR_CELL_WIDTH, k)]
    return [
        _Row(rate * share * w, "leaks", (k,), ohm, spread, leak_at=k, leak_ohm=leak_ohm)
        for share, leak_ohm in shares.LEAK_OHM
        for ohm, spread, w in (((), (), 1 - shares.GREEN_SHARE), *lossy)
    ]


def _command_faults(circuit: Circuit, rate: float, k: int) -> list[_Row]:
    """The ways in which what should close a contact fails; a key switch has a contact for each of its positions."""
    ways = [(1.0, "not_commanded", shares.NOT_FED), (shares.WEAKLY_COMMANDED, "weakly_commanded", shares.WEAKLY_FED)]
    if {"key_on", "crank"} <= set(circuit.active):
        ways += [(share, "half_commanded", coil) for share, coil in shares.HALF_COMMANDED]
    total = sum(share for share, _, _ in ways)
    return [_Row(rate * share / total, fault, coil_share=coil, command_at=k) for share, fault, coil in ways]


def shared_ground(circuit: Circuit) -> int:
    """The position of the ground through which other loads may return, too: the first after the load; -1 for none."""
    grounds = (k for k in circuit.chain[circuit.load + 1 :] if circuit.parts[k].kind == "ground")
    return -1 if circuit.charges else next(grounds, -1)


def _neighbours(circuit: Circuit, k: int) -> tuple[tuple[float, float], ...]:
    """Resistance of other loads on part k's ground, ohm, and how often each is there; none first."""
    if k != shared_ground(circuit):
        return ((np.inf, 1.0),)
    others = shares.NEIGHBOURS
    scaled = tuple((ohm * circuit.volts_scale, share) for ohm, share in others)
    return ((np.inf, 1 - sum(share for _, share in others)), *scaled)


def _always_on(circuit: Circuit, rates: Rates, k: int) -> list[_Row]:
    """A contact that never opens, and wires behind it that touch another one with a feed; not where it may be on with
    the key off."""
    if "off" in circuit.active:
        return []
    found = [_Row(part_rate(circuit, k, rates) * shares.STUCK_CONTACT, "stuck_closed", (k,), stuck_at=k)]
    for wire, part in enumerate(circuit.parts):
        if part.kind == "wire" and circuit.on_feed_side[wire] and contact_before(circuit, wire) == k:
            rate = part_rate(circuit, wire, rates) * shares.FED_WIRE_SHARE
            found += [_Row(rate * w, "fed_elsewhere", (wire,), fed_at=k, fed_ohm=ohm) for w, ohm in shares.FEEDS]
    return found


def contact_before(circuit: Circuit, k: int) -> int:
    """The position of the last commanded contact before a part, or -1."""
    passed = [c for c in circuit.upstream[k] if circuit.parts[c].command]
    return passed[-1] if passed else -1


def _load_faults(circuit: Circuit, rates: Rates, k: int) -> list[_Row]:
    """The ways in which a load fails beside those in series; of a branch's load those that a fuse or a neighbour
    notices."""
    rate = part_rate(circuit, k, rates)
    if circuit.charges:
        return []  # a battery takes what it needs
    found: list[_Row] = []
    if fuse_before(circuit, k) > 0:
        found.append(_Row(rate * shares.SHORTED_LOAD_SHARE, "short_to_ground", (k,), short_at=k))
    if k != circuit.load:
        if circuit.parts[k].kind == "motor":
            less_ohm = (WINDING_SHARE - 1) * circuit.healthy_ohm()[k]
            found.append(_Row(rate * shares.STALLED_SHARE, "stalled", (k,), (less_ohm,), (0.0,)))
        return found
    if circuit.parts[k].kind != "motor":
        return found + _weak(rate, k, shares.WEAK_LOAD)
    found += [_Row(rate * shares.STALLED_SHARE, "stalled", (k,), stalled=True), *_weak(rate, k, shares.WEAK_MOTOR)]
    return found


def _weak(rate: float, k: int, ways: tuple[tuple[float, float, float], ...]) -> list[_Row]:
    return [_Row(rate * share, "weak", (k,), share=current, share_spread=spread) for share, current, spread in ways]


def _battery_faults(circuit: Circuit, rate: float) -> list[_Row]:
    """The ways in which the source is weak: a battery, or what charges one."""
    ways = shares.CHARGER_FAULTS if circuit.charges else shares.BATTERY_FAULTS
    return [_Row(rate * share, "weak", (0,), source=source) for share, source in ways]


def _pairs(circuit: Circuit, rates: Rates, series: list[int], mass: float) -> list[_Row]:
    """Two series faults at once, on a coarser grid."""
    ways = {k: _pair_ways(circuit, k) for k in series}
    found: list[_Row] = []
    for x, a in enumerate(series):
        for b in series[x + 1 :]:
            both = part_rate(circuit, a, rates) * part_rate(circuit, b, rates)
            both *= shares.BY_DESIGN_PAIR_SHARE if circuit.parts[a].by_design or circuit.parts[b].by_design else 1.0
            for ra, sa, wa in ways[a]:
                for rb, sb, wb in ways[b]:
                    fault = "open" if np.isinf(max(ra, rb)) else "high_resistance"
                    found.append(_Row(both * wa * wb, fault, (a, b), (ra, rb), (sa, sb)))
    total = sum(row.prior for row in found)
    for row in found:
        row.prior *= mass / total if total else 0.0
    return found


def _pair_ways(circuit: Circuit, k: int) -> list[tuple[float, float, float]]:
    """One part of a pair: open, or a resistance; ohm, log spread and weight, which sum to 1."""
    middle, opens = _seen_ohm(circuit, k), open_share(circuit, k)
    coarse = _log_cells(least_fault_ohm(circuit, k), PAIR_DENSE_LOADS * middle, PAIR_CELL_WIDTH, 1.0)
    multiple, spread, weight = PAIR_HIGH
    finite = [*coarse, (multiple * middle, spread, weight)]
    total = sum(w for _, _, w in finite)
    return [(np.inf, 0.0, opens), *((r, s, w / total * (1 - opens)) for r, s, w in finite)]


def fuse_before(circuit: Circuit, k: int) -> int:
    """The position of the last fuse before a part on the feed side, or -1."""
    if not (circuit.on_feed_side[k] or k in circuit.loads):
        return -1
    fuses = [f for f in circuit.upstream[k] if circuit.parts[f].kind == "fuse"]
    return fuses[-1] if fuses else -1


def _arrays(circuit: Circuit, table: list[_Row]) -> Cells:
    count = len(table)
    ohm = np.tile(circuit.healthy_ohm(), (count, 1))
    part = np.full((count, 2), -1)
    spread = np.zeros((count, 2))
    for c, row in enumerate(table):
        for slot, k in enumerate(row.parts):
            part[c, slot] = k
        for slot, value in enumerate(row.ohms):
            ohm[c, row.parts[slot]] += value
            spread[c, slot] = row.spreads[slot]
        if row.short_at >= 0:
            ohm[c, fuse_before(circuit, row.short_at)] = np.inf
    usual = _usual_share_spread(circuit)
    prior = np.array([row.prior for row in table])
    return Cells(
        part=part,
        fault=np.array([FAULTS.index(row.fault) for row in table]),
        prior=prior / prior.sum(),
        ohm=ohm,
        ohm_spread=spread,
        source_v=circuit.volts_scale * np.array([[middle for middle, _ in row.source] for row in table])
        + _inside_v(circuit),
        source_spread_v=circuit.volts_scale * np.array([[s for _, s in row.source] for row in table]),
        share=np.array([row.share for row in table]),
        share_spread=np.array([row.share_spread or usual for row in table]),
        stalled=np.array([row.stalled for row in table]),
        coil_share=np.array([row.coil_share for row in table]),
        command_at=np.array([row.command_at for row in table]),
        stuck_at=np.array([row.stuck_at for row in table]),
        fed_at=np.array([row.fed_at for row in table]),
        fed_ohm=np.array([row.fed_ohm for row in table]),
        small_fuse=np.array([row.small_fuse for row in table]),
        bridged=np.array([row.bridged for row in table]),
        neighbour_ohm=np.array([row.neighbour_ohm for row in table]),
        short_at=np.array([row.short_at for row in table]),
        leak_at=np.array([row.leak_at for row in table]),
        leak_ohm=np.array([row.leak_ohm for row in table]),
    )


def _inside_v(circuit: Circuit) -> Array:
    """The voltage that the load's own current loses inside the battery while cranking, shape (3,), V: a starter's
    voltage is known as it is on the posts with the starter turning."""
    return np.array([0.0, circuit.load_a * circuit.healthy_ohm()[0], 0.0])


def _usual_share_spread(circuit: Circuit) -> float:
    """Standard deviation of the log of the load's current, by how the circuit states it."""
    part = circuit.parts[circuit.load]
    if part.current_a is None and not (part.kind == "load" and part.resistance_ohm):
        return shares.UNSTATED_SPREAD
    return shares.CURRENT_SPREAD if part.kind == "motor" else shares.RESISTANCE_SPREAD
