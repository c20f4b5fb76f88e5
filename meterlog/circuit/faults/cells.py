"""Holds everything that may be wrong with a circuit, as cells over fault resistance, and finds some of them.

A *cell* is one fault (or pair, or none) with its resistance near one value; all cells of a circuit are one set of
arrays, so that the network is solved for all of them at once. Within a cell the resistance is log-normal, and so
are the figures nobody knows exactly (source voltage, the load's current, the good parts' resistances).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults import fault_shares as shares
from meterlog.circuit.faults.on_the_way import fuse_before
from meterlog.circuit.model.circuit import Circuit

FAULTS = (
    "open",
    "high_resistance",
    "short_to_ground",
    "wrong_size",
    "branch_shorted",
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
        short_at: shape (K,), position of the part shorted to ground on its feed side, -1 for none (its fuse has blown).
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

    def take(self, keep: NDArray[np.int64] | slice) -> Cells:
        """Some of the cells; their priors no longer sum to 1."""
        return Cells(**{field.name: getattr(self, field.name)[keep] for field in fields(self)})


@dataclass(slots=True)
class Row:
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


def made_otherwise(cells: Cells) -> list[int]:
    """The cells in which nothing is wrong, one for each way in which such vehicles are made, the usual one first."""
    ways: dict[tuple[float, ...], int] = {}
    for c in np.flatnonzero(cells.fault == FAULTS.index("healthy")).tolist():
        ways.setdefault((*cells.coil_share[c], cells.bridged[c]), c)
    return list(ways.values())


def likeliest_healthy(cells: Cells, weight: Array) -> int:
    """The cell of these in which the vehicle is made as it likely is; `weight`, shape (K,), are their probabilities."""
    return max(made_otherwise(cells), key=lambda c: float(weight[c]))


def _so_made(cells: Cells, healthy: int, rows: NDArray[np.int64] | slice = slice(None)) -> NDArray[np.bool_]:
    """Tell for some cells whether the vehicle is made as in a cell where nothing is wrong, as usual where that is
    -1."""
    c = first_healthy(cells) if healthy < 0 else healthy
    same_coil = (cells.coil_share[rows] == cells.coil_share[c]).all(axis=1)
    return np.asarray(same_coil & (cells.bridged[rows] == cells.bridged[c]))


def single_open(cells: Cells, k: int, healthy: int = -1) -> int:
    """The cell in which part k alone is open; -1 where that is no fault of it. `healthy` says how the vehicle is made
    (see `_so_made`)."""
    alone = (cells.part[:, 0] == k) & (cells.part[:, 1] < 0) & (cells.fault == FAULTS.index("open"))
    rows = np.flatnonzero(alone)
    return int(np.append(rows[_so_made(cells, healthy, rows)], -1)[0])


def interrupted(cells: Cells, k: int, healthy: int = -1) -> int:
    """The cell in which what comes and goes is gone: part k is open, or from n on the command of part k - n is missing;
    -1 where there is none. `healthy` says how the vehicle is made."""
    n = cells.ohm.shape[1]
    if k < n:
        return single_open(cells, k, healthy)
    missing = (cells.fault == FAULTS.index("not_commanded")) & (cells.command_at == k - n)
    return int(np.append(np.flatnonzero(missing), -1)[0])


def single_resistive(cells: Cells, healthy: int = -1) -> NDArray[np.bool_]:
    """The cells in which one part alone has too much resistance, shape (K,). `healthy` says how the vehicle is made."""
    alone = (cells.part[:, 1] < 0) & np.isinf(cells.neighbour_ohm) & _so_made(cells, healthy)
    return np.asarray(alone & (cells.fault == FAULTS.index("high_resistance")))


def as_cells(circuit: Circuit, table: list[Row]) -> Cells:
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
