"""Predicts what the meter shows in every cell, and how that moves with each unknown.

A measurement is predicted for all cells at once: its mean, and its sensitivity to each unknown *per standard
deviation* of that unknown (source voltage, load current, winding, test lamp, meter leads, the fault resistances inside
their cells, every good part's resistance). To first order, readings are then jointly Gaussian within a cell, and the
unknowns are integrated over without sampling. Ohms are handled as y = log(R + 0.5 ohm), everything else in its unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import COIL_STATE, FAULTS, Cells
from meterlog.circuit.faults.fault_cells import HOLDS_SHARE, PULL_IN_SHARE
from meterlog.circuit.faults.fault_shares import LEAK_SPREAD, WEAK_COIL_SPREAD
from meterlog.circuit.faults.on_the_way import shared_ground
from meterlog.circuit.model.bulb import Bulb
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import (
    METER_OHM,
    OPEN_OHM,
    Shunt,
    load_model,
    seen_between,
    solve,
    unplug,
)
from meterlog.circuit.probability.predict_ohms import resistance
from meterlog.circuit.probability.unknowns import FAULT_1, LEAK, UNKNOWNS, WINDING_SPREAD, Prediction
from meterlog.circuit.readings.halves import half
from meterlog.circuit.readings.measurement import Measurement

ALLOWED_V = {"connector": 0.1, "ground": 0.1, "wire": 0.2, "switch": 0.3, "relay_contact": 0.3}
"""Drop that manuals allow a good part at its load's current in a 12 V circuit, V (makers' manuals; a small connection:
nothing, a high-current one and a ground 0.1 V, a cable 0.2 V, a switch or relay contact 0.3 V)."""
STATED_SPREAD, BATTERY_SPREAD, DEFAULT_SPREAD, BY_DESIGN_SPREAD = 0.12, 0.3, 1.0, 0.25
"""Standard deviation of a good part's resistance as a share of its usual one: where it is stated, of a battery (whose
voltage is known at its posts), by the kind's default (a log-normal with a factor of 2), stated and by design (a speed
unit warms, a pulsed feed varies). Guesses."""
ALLOWED_SPREADS = 2.0
"""A drop at the limit of the manuals is taken as so many standard deviations. A guess."""
COIL_LOSS_V = 0.2
"""Drop in a coil's own wires and switch, V. A guess."""
FLOATING_V = 0.15
"""Standard deviation of what a meter shows on a stretch of circuit that hangs on nothing, V: dirt and pickup, otherwise
at each pair of places. A guess."""
BRIDGE_OHM = 0.01
"""Says what bridges a resistor while cranking. A guess."""
FRESH = 0.3
"""In a vehicle whose good parts are fresh, the drops that manuals allow shrink to this share: relay contacts lose 30 to
100 mV at 10 A (makers' datasheets) where a manual allows 300. A guess for all other kinds."""
CHUNK = 4000
"""So many cells are solved at once: all of a usual circuit, and some 100 MB of one with 40 parts. A choice."""
LITTLE = 0.25
"""Of the load's current, from which on a good part may lose all of that. Guess."""

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


def in_chunks(count: int) -> Iterator[NDArray[np.int64]]:
    """So many cells in pieces of `CHUNK`: their positions."""
    for first in range(0, count, CHUNK):
        yield np.arange(first, min(first + CHUNK, count))


def _key(m: Measurement) -> tuple[object, ...]:
    """Return what a prediction depends on."""
    return (m.quantity, m.at, m.to, m.state, m.load, m.watt, m.side, m.nulled, bool(np.isinf(m.value)))


class Network:
    """A circuit with its cells; keeps what it has solved."""

    def __init__(self, circuit: Circuit, cells: Cells) -> None:
        self.circuit = circuit
        self.cells = cells
        self._setups: dict[tuple[str, str, tuple[int, int], Bulb], Setup] = {}
        self._predictions: dict[tuple[object, ...], Prediction] = {}

    @cached_property
    def good_share(self) -> Array:
        """Standard deviation of each good part's resistance as a share of its usual one, shape (n,)."""
        values = []
        for k, part in enumerate(self.circuit.parts):
            if k == self.circuit.load:
                values.append(0.0)
            elif part.resistance_ohm is not None or part.current_a is not None:
                values.append(BY_DESIGN_SPREAD if part.by_design else STATED_SPREAD)
            else:
                values.append(BATTERY_SPREAD if part.kind == "battery" else DEFAULT_SPREAD)
        return np.array(values)

    @cached_property
    def allowed_v(self) -> Array:
        """Standard deviation of each good part's drop by what manuals allow (`ALLOWED_V`), shape (n,), V; 0 where its
        resistance is stated."""
        volts = [
            0.0 if part.by_design or part.resistance_ohm is not None else ALLOWED_V.get(part.kind, 0.0)
            for part in self.circuit.parts
        ]
        return np.array(volts) / ALLOWED_SPREADS * self.circuit.volts_scale

    @cached_property
    def fresh(self) -> Array:
        """The factor by which each unknown spreads less in a vehicle with fresh parts, shape (P,)."""
        return np.concatenate([np.ones(len(UNKNOWNS)), np.where(self.allowed_v > 0, FRESH, 1.0)])

    def good_drop_v(self, amps: Array) -> Array:
        """Standard deviation of the good parts' drops at some currents, shape (K, n), signed as the current.

        What manuals allow is a bound in volts, whatever the current, and most parts are far from it: it grows with the
        current only up to `LITTLE` of the load's. Otherwise every good part that loses next to nothing would speak for
        a load that draws less.
        """
        usual = amps * self.circuit.healthy_ohm() * self.good_share
        allowed = np.clip(amps / (LITTLE * self.circuit.carried_a), -1, 1) * self.allowed_v
        return np.where(np.abs(allowed) > np.abs(usual), allowed, usual)

    def predict(self, m: Measurement) -> Prediction:
        """A measurement under every cell; its value matters only where it says whether a contact was bridged."""
        return self.predict_all([m])[0]

    def predict_all(self, ms: Sequence[Measurement]) -> list[Prediction]:
        """Several measurements under every cell; of many cells only so many are solved at once, to save memory."""
        missing = {_key(m): m for m in ms if _key(m) not in self._predictions}
        whole = len(self.cells) <= CHUNK
        found: dict[tuple[object, ...], list[Prediction]] = {key: [] for key in missing}
        for rows in in_chunks(len(self.cells)) if missing else ():
            some = self if whole else self.among(rows)
            for key, m in missing.items():
                found[key].append(some._predict(m))
        for key, parts in found.items():
            slope = np.concatenate([p.slope.astype(np.float32) for p in parts])
            own = np.concatenate([np.broadcast_to(p.own, p.mean.shape) for p in parts])
            self._predictions[key] = Prediction(np.concatenate([p.mean for p in parts]), slope, own)
        return [self._predictions[_key(m)] for m in ms]

    def among(self, keep: NDArray[np.int64]) -> Network:
        """The same circuit with some of the cells only."""
        return Network(self.circuit, self.cells.take(keep))

    def _predict(self, m: Measurement) -> Prediction:
        if half(self.circuit, m) == "load" and m.quantity != "resistance":
            return self._nothing()  # it hangs on nothing: what a meter shows there tells nothing
        if m.quantity == "lamp":
            return self._brightness(m)
        if m.at in self.circuit.commands:
            return self._at_command(m)
        if m.quantity == "resistance":
            good_ohm = self.good_drop_v(self.circuit.carried_a) / self.circuit.carried_a
            return resistance(self.circuit, self.cells, good_ohm, m)
        i, j = self.ends(m)
        lamp = self._lamp_place(m, i, j)
        setup = self.setup(m.state, m.load, lamp)
        if m.quantity == "current":
            values = self._through_fuse(setup.part_a[:, :, i], m.state, i)
            return self._assemble(values, setup, np.zeros((values.shape[1], len(self.circuit.parts))))
        return self._voltage(setup, i, j, bridged=lamp == (i, j), connected=m.load == "connected")

    def _brightness(self, m: Measurement) -> Prediction:
        """Predict a lamp's voltage as a share of its rated one, the system's."""
        if m.at in self.circuit.commands:
            volts = self._at_command(m)
        else:
            i, j = self.ends(m)
            volts = self._voltage(self.setup(m.state, m.load, (i, j), m.bulb), i, j, bridged=True, connected=True)
        sign = np.where(volts.mean < 0, -1.0, 1.0) / self.circuit.system_v
        return Prediction(volts.mean * sign, volts.slope * sign[:, None])

    def ends(self, m: Measurement) -> tuple[int, int]:
        """The nodes of the two probes; for one part alone, those before and after it."""
        c = self.circuit
        i, j = c.ends(m.at, m.to)
        if m.quantity == "voltage_drop" and m.at != m.to and c.order[i] > c.order[j]:
            return j, i
        return i, j

    def setup(self, state: str, load: str, lamp: tuple[int, int], bulb: Bulb = _SOME_LAMP) -> Setup:
        """The network solved in a state: base, and one unknown moved at a time; `lamp` are the nodes that a lamp hangs
        between, the same twice for none."""
        key = (state, load, lamp, bulb)
        if key not in self._setups:
            self._setups[key] = self._solve(*key)
        return self._setups[key]

    def resistances(self, state: str, load: str) -> Array:
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
        if load != "connected":
            ohm = unplug(c, ohm)
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

    def _solve(self, state: str, load: str, lamp: tuple[int, int], bulb: Bulb) -> Setup:
        cells, s = self.cells, state_index(state)
        if self.circuit.turns_engine and load != "connected":
            s = state_index("off")  # an unplugged starter does not load the battery
        base = self.resistances(state, load)
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
        """What wet connectors hang between two nodes, so many times its ohms; none where no cell has one."""
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

    def _voltage(self, setup: Setup, i: int, j: int, *, bridged: bool, connected: bool) -> Prediction:
        values = setup.node_v[:, :, i] - setup.node_v[:, :, j]
        seen_ohm, around = seen_between(self.circuit, setup.ohm, setup.load_ohm, i, j)
        floats = np.zeros(values.shape[1])
        if not bridged:
            # where another load ties the ground side to the battery, no node hangs on nothing
            tied = np.isfinite(self.cells.neighbour_ohm) & connected
            seen_ohm = np.where(tied, 0.0, seen_ohm)
            values = values * METER_OHM / (METER_OHM + seen_ohm)
            floats = FLOATING_V * seen_ohm[0] / (METER_OHM + seen_ohm[0])
        loops = self.circuit.loops
        unit_a = loops.way[i] - loops.way[j] - around[0] @ loops.loop
        slope = -self.good_drop_v(setup.part_a[0]) * unit_a
        found = self._assemble(values, setup, slope)
        return Prediction(found.mean, found.slope, floats)

    def _assemble(self, values: Array, setup: Setup, good: Array) -> Prediction:
        slope = np.zeros((values.shape[1], len(UNKNOWNS) + good.shape[1]))
        for d, u in enumerate(setup.unknown, 1):
            slope[:, u] = (values[d] - values[0]) / setup.step[d - 1]
        slope[:, len(UNKNOWNS) :] = good
        return Prediction(values[0], slope)

    def _at_command(self, m: Measurement) -> Prediction:
        """Across a coil: the source's voltage when it is commanded, else nothing. Its ohms and current are not known to
        the circuit, so they say nothing."""
        cells, s = self.cells, state_index(m.state)
        count = len(cells)
        slope = np.zeros((count, len(UNKNOWNS) + len(self.circuit.parts)))
        if m.quantity in ("resistance", "current"):
            return Prediction(np.full(count, np.nan), slope)
        share = self.coil_share(m.state, self.circuit.commands[m.at])
        slope[:, s] = share * cells.source_spread_v[:, s]
        weak = (cells.fault == FAULTS.index("weakly_commanded")) & (share > 0)
        slope[:, FAULT_1] = weak * WEAK_COIL_SPREAD * self.circuit.system_v
        return Prediction(share * (cells.source_v[:, s] - COIL_LOSS_V), slope)

    def _through_fuse(self, amps: Array, state: str, k: int) -> Array:
        """The current through part k; a feed past a contact takes its share of it, or all if the contact is open."""
        found = amps.copy()
        for contact in self.circuit.commands.values():
            past = self.cells.fed_at == contact
            passed = [*self.circuit.upstream[contact][1:], contact]
            if k in (0, *passed) and past.any():
                before = np.minimum(self.cells.ohm[past][:, passed], OPEN_OHM).sum(axis=1)
                feed = self.cells.fed_ohm[past]
                found[:, past] *= np.where(self.closed(state, contact)[past], feed / (feed + before), 0.0)
        return found

    def _nothing(self) -> Prediction:
        count, width = len(self.cells), len(UNKNOWNS) + len(self.circuit.parts)
        return Prediction(np.full(count, np.nan), np.zeros((count, width)))

    def _lamp_place(self, m: Measurement, i: int, j: int) -> tuple[int, int]:
        """Find where a lamp as the load hangs: between the probes of a voltage; in the load's place otherwise."""
        if m.load != "lamp":
            return (-1, -1)
        if m.quantity == "voltage" and i != j:
            return (i, j)
        return self.circuit.apart
