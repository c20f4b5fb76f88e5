"""What every cell would show on the meter: the expected value of a measurement, and how it moves with what is unknown.

A measurement is predicted for all cells at once: its mean, and its sensitivity to each unknown *per standard
deviation* of that unknown (source voltage, load current, winding, test lamp, meter leads, the fault resistances inside
their cells, every good part's resistance). To first order, readings are then jointly Gaussian within a cell, and the
unknowns are integrated over without sampling. Ohms are handled as y = log(R + 0.5 ohm), everything else in its unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults import FAULTS, Cells
from meterlog.circuit.measured import Measurement, Tried
from meterlog.circuit.model import Circuit
from meterlog.circuit.solve import LAMP_OHM, METER_OHM, OPEN_OHM, LoadModel, Shunt, line_place, load_model, solve

UNKNOWNS = ("rest_v", "crank_v", "run_v", "share", "winding", "lamp", "lead", "fault_1", "fault_2")
"""The unknowns before the good parts' resistances, which follow in the order of the chain."""

WINDING_SPREAD, LAMP_SPREAD = 0.4, 0.6
"""Standard deviations of the logs of a winding's stated resistance and of a test lamp's. Guesses."""
LEAD_OHM, LEAD_SPREAD_OHM = 0.25, 0.17
"""Meter leads are 0.2-0.6 ohm (makers' manuals); people null them, or not."""
OHM_OFFSET = 0.5
OVERLOAD_OHM = 40e6
"""The top of a usual hand-held meter's range; it shows overload above."""
JUMPER_OHM = 0.1
"""A pair of clip leads."""
SHORT_OHM = 0.5
"""A chafed wire on the body. Guess."""
COLD_FILAMENT = 0.25
"""A lamp's cold resistance is a small part of the hot one (from memory 1/10 to 1/3, unverified)."""

Array = NDArray[np.float64]


def state_index(state: str) -> int:
    """Which source voltage a state has: 0 at rest, 1 cranking, 2 running."""
    return {"crank": 1, "run": 2}.get(state, 0)


@dataclass(frozen=True, slots=True)
class Setup:
    """The solved network of one state and load; the first axis varies one unknown at a time (0: none).

    Attributes:
        node_v: shape (D, K, n). part_a: shape (D, K, n).
        line_ohm: shape (D, K, n + 1), resistance from the line's beginning to each place (see `solve`).
        load_ohm: shape (D, K), the load's differential resistance.
        unknown: which unknown each variation d >= 1 moves.
        step: shape (D, K), by how many standard deviations.
    """

    node_v: Array
    part_a: Array
    line_ohm: Array
    load_ohm: Array
    unknown: tuple[int, ...]
    step: Array


@dataclass(frozen=True, slots=True)
class Prediction:
    """A measurement under every cell.

    Attributes:
        mean: shape (K,).
        slope: shape (K, P), change per standard deviation of each unknown.
    """

    mean: Array
    slope: Array


class Network:
    """A circuit with its cells; keeps what it has solved."""

    def __init__(self, circuit: Circuit, cells: Cells) -> None:
        self.circuit = circuit
        self.cells = cells
        self._setups: dict[tuple[str, str, tuple[int, int]], Setup] = {}
        self._predictions: dict[tuple[str, str, str, str, str, bool], Prediction] = {}

    @cached_property
    def good_spread(self) -> Array:
        """Standard deviation of each good part's resistance as a share of its usual one, shape (n,): stated 12 %, by
        the kind's default 100 % (a log-normal with a factor of 2), by design but not stated 150 %. Guesses."""
        values = []
        for k, part in enumerate(self.circuit.parts):
            stated = part.resistance_ohm is not None
            values.append(0.0 if k == self.circuit.load else 0.12 if stated else 1.5 if part.by_design else 1.0)
        return np.array(values)

    def predict(self, m: Measurement) -> Prediction:
        """A measurement under every cell; its value matters only where it says whether a contact was bridged."""
        key = (m.quantity, m.at, m.to, m.state, m.load, bool(np.isinf(m.value)))
        if key not in self._predictions:
            self._predictions[key] = self._predict(m)
        return self._predictions[key]

    def among(self, keep: NDArray[np.int64]) -> Network:
        """The same circuit with some of the cells only."""
        return Network(self.circuit, self.cells.take(keep))

    def _predict(self, m: Measurement) -> Prediction:
        if m.at in self.circuit.commands:
            return self._at_command(m)
        if m.quantity == "resistance":
            return self._resistance(m)
        i, j = self.ends(m)
        lamp = self._lamp_place(m, i, j)
        setup = self.setup(m.state, m.load, lamp)
        if m.quantity == "current":
            values = setup.part_a[:, :, i]
            return self._assemble(values, setup, np.zeros((values.shape[1], len(self.circuit.parts))))
        return self._voltage(setup, i, j, bridged=lamp == (i, j))

    def ends(self, m: Measurement) -> tuple[int, int]:
        """The nodes of the two probes; for one part alone, those before and after it."""
        c = self.circuit
        if m.at == m.to and m.at in c.part_index:
            k = c.part_index[m.at]
            across = ((k - 1) % len(c.parts), k)
            return across if c.parts[k].kind != "battery" else (k, len(c.parts) - 1)
        i, j = c.node(m.at), c.node(m.to)
        if m.quantity == "voltage_drop" and i > j:
            return j, i
        return i, j

    def setup(self, state: str, load: str, lamp: tuple[int, int]) -> Setup:
        """The network solved in a state: base, and one unknown moved at a time."""
        key = (state, load, lamp)
        if key not in self._setups:
            self._setups[key] = self._solve(state, load, lamp)
        return self._setups[key]

    def resistances(self, state: str, load: str) -> Array:
        """Every cell's series resistances in a state, shape (K, n): contacts that are not commanded are open, and what
        is unplugged (or replaced with a lamp) is apart."""
        c, ohm = self.circuit, self.cells.ohm.copy()
        for k in c.commands.values():
            ohm[~self.closed(state, k), k] = np.inf
        if state == "off" and not c.commands:
            first = next((k for k, part in enumerate(c.parts) if part.kind == "switch"), None)
            if first is not None:
                ohm[:, first] = np.inf
        if load != "connected":
            ohm[:, list(c.plug)] = np.inf
        return np.minimum(ohm, OPEN_OHM)

    def closed(self, state: str, k: int) -> NDArray[np.bool_]:
        """Whether each cell's commanded part k is closed in a state, shape (K,)."""
        if state not in self.circuit.active:
            return np.zeros(len(self.cells), bool)
        concerned = (self.cells.command_at == k) | (self.cells.command_at < 0)
        return np.asarray(~(concerned & self.cells.never_closed[:, 0 if state in ("key_on", "prime") else 1]))

    def _solve(self, state: str, load: str, lamp: tuple[int, int]) -> Setup:
        cells, s = self.cells, state_index(state)
        base = self.resistances(state, load)
        unknown = [s, UNKNOWNS.index("share"), UNKNOWNS.index("winding"), 7, 8]
        if load == "lamp":
            unknown.append(UNKNOWNS.index("lamp"))
        solved = []
        steps = [np.ones(len(cells))]
        for u in (-1, *unknown):
            ohm, emf, share = base, cells.source_v[:, s], cells.share
            lamp_ohm, winding = LAMP_OHM * self.circuit.system_v / 12, 1.0
            step = np.full(len(cells), 0.5)
            if u == s:
                emf = emf + step * cells.source_spread_v[:, s]
            elif u == UNKNOWNS.index("share"):
                share = share * np.exp(step * cells.share_spread)
            elif u == UNKNOWNS.index("winding"):
                winding = float(np.exp(0.5 * WINDING_SPREAD))
            elif u == UNKNOWNS.index("lamp"):
                lamp_ohm *= float(np.exp(0.5 * LAMP_SPREAD))
            elif u >= 0:
                ohm = self._moved(base, u - 7, step)
            shunts = [Shunt(*lamp, lamp_ohm)] if load == "lamp" else []
            model = load_model(self.circuit, current_share=share, stalled=cells.stalled, winding_share=winding)
            solved.append((solve(self.circuit, ohm, emf, model, shunts), ohm))
            steps.append(step)
        at = self.circuit.load
        line = np.stack([np.concatenate([o[:, at + 1 :], o[:, : at + 1]], axis=1) for _, o in solved])
        line_ohm = np.concatenate([np.zeros_like(line[..., :1]), np.cumsum(line, axis=-1)], axis=-1)
        dynamic = np.stack([np.broadcast_to(x.load_dynamic_ohm, len(cells)) for x, _ in solved])
        return Setup(
            np.stack([x.node_v for x, _ in solved]),
            np.stack([x.part_a for x, _ in solved]),
            line_ohm,
            dynamic,
            tuple(unknown),
            np.stack(steps[1:]),
        )

    def _moved(self, ohm: Array, slot: int, step: Array) -> Array:
        """The resistances with the fault in a slot moved by `step` standard deviations of its cell."""
        moved = ohm.copy()
        k = self.cells.part[:, slot]
        rows = np.flatnonzero((k >= 0) & (self.cells.ohm_spread[:, slot] > 0))
        moved[rows, k[rows]] *= np.exp(step[rows] * self.cells.ohm_spread[rows, slot])
        return np.minimum(moved, OPEN_OHM)

    def _voltage(self, setup: Setup, i: int, j: int, *, bridged: bool) -> Prediction:
        c, n = self.circuit, len(self.circuit.parts)
        values = setup.node_v[:, :, i] - setup.node_v[:, :, j]
        a, b = line_place(i, c.load, n), line_place(j, c.load, n)
        sign = -1.0 if a > b else 1.0
        lo, hi = min(a, b), max(a, b)
        span = setup.line_ohm[:, :, hi] - setup.line_ohm[:, :, lo]
        loop = setup.line_ohm[:, :, n] + setup.load_ohm
        if not bridged:
            seen_ohm = span * (loop - span) / loop
            values = values * METER_OHM / (METER_OHM + seen_ohm)
        chain = [(c.load + 1 + place) % n for place in range(lo, hi)]
        inside = np.zeros(n)
        inside[chain] = 1.0
        amps = setup.part_a[0]
        ohm = c.healthy_ohm() * self.good_spread
        share = (span[0] / loop[0])[:, None]
        slope = sign * amps * ohm * (inside[None, :] - share)
        return self._assemble(values, setup, slope)

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
        on = self.closed(m.state, self.circuit.commands[m.at])
        slope[:, s] = on * cells.source_spread_v[:, s]
        return Prediction(on * (cells.source_v[:, s] - 0.2), slope)

    def _resistance(self, m: Measurement) -> Prediction:
        """Ohms of the stretch of the chain between the probes, through the leads."""
        c, cells = self.circuit, self.cells
        lo, hi = self._stretch(m)
        inside = np.zeros(len(c.parts), bool)
        inside[lo + 1 : hi + 1] = True
        apart = list(c.plug) if m.load != "connected" else []
        faces = bool(apart) and (lo, hi) == (apart[0] - 1, apart[-1])
        if faces:
            inside[:] = False
            inside[c.load] = True
        contacts = [k for k in c.commands.values() if inside[k]]
        count = len(cells)
        if contacts and np.isinf(m.value):
            return Prediction(np.full(count, np.nan), np.zeros((count, len(UNKNOWNS) + len(c.parts))))
        filament = COLD_FILAMENT if c.parts[c.load].kind == "load" else 1.0
        own = c.winding_ohm * filament if inside[c.load] else 0.0
        ohm = np.minimum(cells.ohm, OPEN_OHM)
        if not faces and any(inside[k] for k in apart):
            ohm = ohm.copy()
            ohm[:, [k for k in apart if inside[k]]] = OPEN_OHM
        total = ohm[:, inside].sum(axis=1) + own + LEAD_OHM
        total = self._beside_short(total, ohm, lo, hi)
        total = np.minimum(total, OVERLOAD_OHM)
        shown = np.log(total + OHM_OFFSET)
        per_ohm = np.where(total < OVERLOAD_OHM, 1 / (total + OHM_OFFSET), 0.0)
        slope = np.zeros((count, len(UNKNOWNS) + len(c.parts)))
        slope[:, UNKNOWNS.index("winding")] = own * (WINDING_SPREAD if filament == 1.0 else 0.6) * per_ohm
        slope[:, UNKNOWNS.index("lead")] = LEAD_SPREAD_OHM * per_ohm
        for slot in (0, 1):
            k = cells.part[:, slot]
            there = (k >= 0) & inside[k]
            fault = np.where(there, ohm[np.arange(count), k], 0.0)
            slope[:, 7 + slot] = fault * cells.ohm_spread[:, slot] * per_ohm
        slope[:, len(UNKNOWNS) :] = np.where(inside, c.healthy_ohm() * self.good_spread, 0.0) * per_ohm[:, None]
        return Prediction(shown, slope)

    def _stretch(self, m: Measurement) -> tuple[int, int]:
        if m.at == m.to and m.at in self.circuit.part_index:
            k = self.circuit.part_index[m.at]
            return k - 1, k
        i, j = self.circuit.node(m.at), self.circuit.node(m.to)
        return min(i, j), max(i, j)

    def _beside_short(self, total: Array, ohm: Array, lo: int, hi: int) -> Array:
        """A short to ground lies beside the stretch from its feed side to the ground side."""
        short = self.cells.short_at
        if not (lo < self.circuit.load <= hi) or not (short >= 0).any():
            return total
        found = total.copy()
        for c in np.flatnonzero(short >= 0):
            a, b = sorted((lo, int(short[c]) - 1))
            path = SHORT_OHM + LEAD_OHM + float(ohm[c, a + 1 : b + 1].sum())
            found[c] = 1 / (1 / total[c] + 1 / path)
        return found

    def _lamp_place(self, m: Measurement, i: int, j: int) -> tuple[int, int]:
        """Where a test lamp hangs: between the probes of a voltage; in the load's place otherwise."""
        if m.load != "lamp":
            return (-1, -1)
        if m.quantity == "voltage" and i != j:
            return (i, j)
        plug = self.circuit.plug
        return (plug[0] - 1, plug[-1])

    def runs(self, tried: Tried) -> Array:
        """How likely each cell lets the load run on a direct feed, shape (K,).

        A feed right at the load's own terminal is half the time done with both leads (its ground from the battery
        too); elsewhere seldom. A load counts as running from about half the system voltage. Guesses, all three.
        """
        c, cells = self.circuit, self.cells
        source = c.part_index.get(tried.feed, -1)
        from_node = c.node(tried.feed) if source != 0 else 0
        part = c.part_index.get(tried.into)
        into = c.node(tried.into) if part is None else (part - 1 if part <= c.load else part)
        ohm, emf, model = self._in_use()
        jumper = Shunt(from_node, into, JUMPER_OHM)
        ground = Shunt(len(c.parts) - 1, c.load, JUMPER_OHM)
        both = 0.5 if into == c.load - 1 else 0.05 if into < c.load else 0.0
        chance = np.zeros(len(cells))
        for share, shunts in ((1 - both, [jumper]), (both, [jumper, ground])):
            if share:
                found = solve(c, ohm, emf, model, shunts)
                volts = np.where(cells.stalled, 0.0, found.load_v)
                chance += share * _smooth(volts / c.system_v, 0.5)
        return np.clip(chance, 0.03, 0.97)

    def works(self) -> Array:
        """How likely each cell's load works in the vehicle so that nobody complains, shape (K,): from about 3/4 of the
        system voltage. A guess."""
        found = solve(self.circuit, *self._in_use())
        volts = np.where(self.cells.stalled | (self.cells.fault == FAULTS.index("weak")), 0.0, found.load_v)
        return _smooth(volts / self.circuit.system_v, 0.75)

    def _in_use(self) -> tuple[Array, Array, LoadModel]:
        """Resistances, source and load in the state in which the circuit is used."""
        state = next((s for s in ("run", "crank", *self.circuit.active) if s in self.circuit.active), "run")
        load = load_model(self.circuit, current_share=self.cells.share, stalled=self.cells.stalled)
        return self.resistances(state, "connected"), self.cells.source_v[:, state_index(state)], load


def _smooth(x: Array, middle: float) -> Array:
    """A step with a width of 0.07, for thresholds that nobody knows exactly."""
    return np.asarray(1 / (1 + np.exp(np.clip(-(x - middle) / 0.07, -60, 60))))
