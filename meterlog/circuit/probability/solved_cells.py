"""Solves the network in every cell: what is closed in a state, what hangs on it, and one unknown moved at a time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import COIL_STATE, Cells
from meterlog.circuit.faults.fault_cells import HOLDS_SHARE, PULL_IN_SHARE
from meterlog.circuit.faults.fault_shares import LEAK_SPREAD
from meterlog.circuit.faults.on_the_way import shared_ground
from meterlog.circuit.model.bulb import Bulb
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import (
    OPEN_OHM,
    Shunt,
    load_model,
    solve,
    unplug,
)
from meterlog.circuit.probability.unknowns import FAULT_1, LEAK, UNKNOWNS, WINDING_SPREAD

BRIDGE_OHM = 0.01
"""Says what bridges a resistor while cranking. A guess."""

_SOME_LAMP = Bulb()

Array = NDArray[np.float64]


def state_index(state: str) -> int:
    """Give the index of a state's source voltage: 0 at rest, 1 cranking, 2 running."""
    return {"crank": 1, "run": 2}.get(state, 0)


@dataclass(frozen=True, slots=True)
class Setup:
    """The solved network of one state and load; the first axis varies one unknown at a time (0: none).

    Attributes:
        node_v: shape (D, K, n). part_a: shape (D, K, n).
        ohm: shape (D, K, n), the resistances.
        load_ohm: shape (D, K), the load's differential resistance.
        unknown: which unknown each variation d >= 1 moves.
        step: shape (D, K), by how many standard deviations.
    """

    node_v: Array
    part_a: Array
    ohm: Array
    load_ohm: Array
    unknown: tuple[int, ...]
    step: Array


class SolvedCells:
    """A circuit with its cells; keeps what it has solved."""

    def __init__(self, circuit: Circuit, cells: Cells) -> None:
        self.circuit = circuit
        self.cells = cells
        self._setups: dict[tuple[str, tuple[int, ...], tuple[int, int], Bulb], Setup] = {}

    def setup(self, state: str, out: tuple[int, ...], lamp: tuple[int, int], bulb: Bulb = _SOME_LAMP) -> Setup:
        """The network solved in a state: base, and one unknown moved at a time; `out` are the loads that are unplugged,
        `lamp` the nodes that a lamp hangs between, the same twice for none."""
        key = (state, out, lamp, bulb)
        if key not in self._setups:
            self._setups[key] = self._solve(*key)
        return self._setups[key]

    def resistances(self, state: str, out: tuple[int, ...] = ()) -> Array:
        """Every cell's series resistances in a state, shape (K, n): contacts that are not commanded are open, and what
        is unplugged (or replaced with a lamp) is apart."""
        c, ohm = self.circuit, self.cells.ohm.copy()
        for k in c.commands.values():
            past = np.where(self.cells.fed_at == k, self.cells.fed_ohm, np.inf)
            ohm[:, k] = np.where(self.closed(state, k), np.minimum(ohm[:, k], past), past)
        if state == "crank":
            for k in (k for k, part in enumerate(c.parts) if part.by_design):
                ohm[self.cells.bridged, k] = BRIDGE_OHM
        for k in (k for k, part in enumerate(c.parts) if part.closed_in is not None and not part.command):
            ohm[~self.closed(state, k), k] = np.inf
        if state == "off" and not c.commands and all(part.closed_in is None for part in c.parts):
            first = next((k for k, part in enumerate(c.parts) if part.kind == "switch"), None)
            if first is not None:
                ohm[:, first] = np.inf
        if out:
            ohm = unplug(c, ohm, out)
        return np.minimum(ohm, OPEN_OHM)

    def closed(self, state: str, k: int) -> NDArray[np.bool_]:
        """Tell for each cell whether its commanded part k is closed in a state, shape (K,)."""
        stuck = self.cells.stuck_at == k
        part = self.circuit.parts[k]
        if not part.closed(state) or not part.command:
            return np.asarray(stuck | (part.closed(state) and state in self.circuit.active))
        share = self.coil_share(state, k)
        closed = share >= PULL_IN_SHARE
        if state == "crank" and not self.circuit.turns_engine:
            # a battery that gives way lets the relay go, or never pulls it in where it was not in at key-on
            held = self.coil_share("key_on", k) >= PULL_IN_SHARE
            needed = np.where(held, HOLDS_SHARE, PULL_IN_SHARE) * self.circuit.system_v
            closed &= share * self.cells.source_v[:, state_index(state)] >= needed
        return np.asarray(stuck | closed)

    def coil_share(self, state: str, k: int) -> Array:
        """The source's voltage that reaches the coil of part k in a state, in each cell, shape (K,)."""
        if state not in self.circuit.active:
            return np.zeros(len(self.cells))
        concerned = (self.cells.command_at == k) | (self.cells.command_at < 0)
        return np.where(concerned, self.cells.coil_share[:, COIL_STATE[state]], 1.0)

    def _solve(self, state: str, out: tuple[int, ...], lamp: tuple[int, int], bulb: Bulb) -> Setup:
        cells, s = self.cells, state_index(state)
        if self.circuit.turns_engine and self.circuit.load in out:
            s = state_index("off")  # an unplugged starter does not load the battery
        base = self.resistances(state, out)
        unknown = [s, UNKNOWNS.index("share"), UNKNOWNS.index("winding"), FAULT_1, FAULT_1 + 1]
        if self.circuit.charges and s:
            unknown.append(0)
        settled = np.zeros(len(cells))
        if lamp[0] != lamp[1]:
            unknown.append(UNKNOWNS.index("lamp"))
            settled = self._settled(base, cells.source_v[:, s], lamp, bulb)
        solved = []
        steps = [np.ones(len(cells))]
        for u in (-1, *unknown):
            ohm, emf, rest, share = base, cells.source_v[:, s], cells.source_v[:, 0], cells.share
            lamp_ohm, winding, wetter = settled, 1.0, 1.0
            step = np.full(len(cells), 0.5)
            if u == s:
                emf = emf + step * cells.source_spread_v[:, s]
            if u == 0:
                rest = rest + step * cells.source_spread_v[:, 0]
            elif u == UNKNOWNS.index("share"):
                share = share * np.exp(step * cells.share_spread)
            elif u == UNKNOWNS.index("winding"):
                winding = float(np.exp(0.5 * WINDING_SPREAD))
            elif u == UNKNOWNS.index("lamp"):
                lamp_ohm = settled * float(np.exp(0.5 * bulb.spread))
            elif u >= FAULT_1:
                ohm = self._moved(base, u - FAULT_1, step)
                wetter = float(np.exp(0.5 * LEAK_SPREAD)) if u == LEAK else 1.0
            shunts = [Shunt(*lamp, lamp_ohm)] if lamp[0] != lamp[1] else []
            shunts += [*self.neighbours(), *self.leaks(wetter)]
            model = load_model(
                self.circuit, current_share=share, stalled=cells.stalled, winding_share=winding, rest_v=rest
            )
            solved.append((solve(self.circuit, ohm, emf, model, shunts), ohm))
            steps.append(step)
        dynamic = np.stack([np.broadcast_to(x.load_dynamic_ohm, len(cells)) for x, _ in solved])
        return Setup(
            np.stack([x.node_v for x, _ in solved]),
            np.stack([x.part_a for x, _ in solved]),
            np.stack([o for _, o in solved]),
            dynamic,
            tuple(unknown),
            np.stack(steps[1:]),
        )

    def neighbours(self) -> list[Shunt]:
        """The other load on a bad ground, fed from the battery; none where no cell has one."""
        ground = shared_ground(self.circuit)
        if ground < 0 or np.isinf(self.cells.neighbour_ohm).all():
            return []
        return [Shunt(0, ground - 1, np.minimum(self.cells.neighbour_ohm, OPEN_OHM))]

    def leaks(self, times: float = 1.0) -> list[Shunt]:
        """Return what wet connectors hang between two nodes, so many times its ohms; none where no cell has one."""
        c, cells = self.circuit, self.cells
        return [
            Shunt(
                c.before[k],
                c.node(c.parts[k].leaks_to),
                np.minimum(np.where(cells.leak_at == k, times * cells.leak_ohm, np.inf), OPEN_OHM),
            )
            for k in np.unique(cells.leak_at[cells.leak_at >= 0]).tolist()
        ]

    def _settled(self, ohm: Array, emf: Array, lamp: tuple[int, int], bulb: Bulb) -> Array:
        """The lamp's resistance in every cell, shape (K,), as hot as its voltage there makes it."""
        i, j = lamp
        load = load_model(self.circuit, current_share=self.cells.share, stalled=self.cells.stalled)

        def volts_across(lamp_ohm: Array) -> Array:
            node_v = solve(self.circuit, ohm, emf, load, [Shunt(i, j, lamp_ohm)]).node_v
            return np.asarray(node_v[:, i] - node_v[:, j])

        return np.broadcast_to(bulb.settled_ohm(self.circuit.system_v, volts_across), emf.shape)

    def _moved(self, ohm: Array, slot: int, step: Array) -> Array:
        """The resistances with the fault in a slot moved by `step` standard deviations of its cell."""
        moved = ohm.copy()
        k = self.cells.part[:, slot]
        rows = np.flatnonzero((k >= 0) & (self.cells.ohm_spread[:, slot] > 0))
        moved[rows, k[rows]] *= np.exp(step[rows] * self.cells.ohm_spread[rows, slot])
        return np.minimum(moved, OPEN_OHM)
