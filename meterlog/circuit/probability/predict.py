"""Predicts what the meter shows in every cell, and how that moves with each unknown.

A measurement is predicted for all cells at once: its mean, and its sensitivity to each unknown *per standard
deviation* of that unknown (source voltage, load current, winding, test lamp, meter leads, the fault resistances inside
their cells, every good part's resistance). To first order, readings are then jointly Gaussian within a cell, and the
unknowns are integrated over without sampling. Ohms are handled as y = log(R + 0.5 ohm), everything else in its unit.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.faults.cells import FAULTS, Cells
from meterlog.circuit.faults.fault_shares import WEAK_COIL_SPREAD
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.solve import (
    METER_OHM,
    OPEN_OHM,
    seen_between,
)
from meterlog.circuit.probability.good_parts import GoodParts
from meterlog.circuit.probability.predict_ohms import resistance
from meterlog.circuit.probability.solved_cells import Setup, SolvedCells, state_index
from meterlog.circuit.probability.unknowns import FAULT_1, UNKNOWNS, Prediction
from meterlog.circuit.readings.halves import half
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.unplugged import loads_out

COIL_LOSS_V = 0.2
"""Drop in a coil's own wires and switch, V. A guess."""
FLOATING_V = 0.15
"""Standard deviation of what a meter shows on a stretch of circuit that hangs on nothing, V: dirt and pickup, otherwise
at each pair of places. A guess."""
CHUNK = 4000
"""So many cells are solved at once: all of a usual circuit, and some 100 MB of one with 40 parts. A choice."""

Array = NDArray[np.float64]


def in_chunks(count: int, size: int = CHUNK) -> Iterator[slice]:
    """So many cells in pieces of `size`: their positions."""
    for first in range(0, count, size):
        yield slice(first, min(first + size, count))


def _key(m: Measurement) -> tuple[object, ...]:
    """Return what a prediction depends on."""
    return (*m.place_key, m.watt, m.nulled, bool(np.isfinite(m.value)))


class Network(SolvedCells):
    """A circuit with its cells; keeps what it has solved and predicted."""

    def __init__(self, circuit: Circuit, cells: Cells) -> None:
        super().__init__(circuit, cells)
        self.good = GoodParts(circuit)
        self._predictions: dict[tuple[object, ...], Prediction] = {}

    def predict(self, m: Measurement) -> Prediction:
        """A measurement under every cell; its value matters only where it says whether a contact was bridged."""
        return self.predict_all([m])[0]

    def predict_all(self, ms: Sequence[Measurement]) -> list[Prediction]:
        """Several measurements under every cell; of many cells only so many are solved at once, to save memory."""
        missing = {_key(m): m for m in ms if _key(m) not in self._predictions}
        count, width = len(self.cells), len(UNKNOWNS) + len(self.circuit.parts)
        found = {key: (np.zeros(count), np.zeros((count, width), np.float32), np.zeros(count)) for key in missing}
        for rows in in_chunks(count) if missing else ():
            some = self if count <= CHUNK else self.among(rows)
            for key, m in missing.items():
                part, (mean, slope, own) = some._at_rest(m, some._predict(m)), found[key]
                mean[rows], slope[rows], own[rows] = part.mean, part.slope, part.own
        self._predictions |= {key: Prediction(*arrays) for key, arrays in found.items()}
        return [self._predictions[_key(m)] for m in ms]

    def among(self, keep: NDArray[np.int64] | slice) -> Network:
        """The same circuit with some of the cells only."""
        return Network(self.circuit, self.cells.take(keep))

    def _at_rest(self, m: Measurement, found: Prediction) -> Prediction:
        """The same where no starter loads the battery while cranking: then it is the resting voltage that moves it."""
        stands = self.cells.source_v[:, 1] >= self.cells.source_v[:, 0]
        if m.state != "crank" or not stands.any():
            return found
        slope = found.slope.copy()
        slope[stands, 0] += slope[stands, 1]
        slope[stands, 1] = 0.0
        return Prediction(found.mean, slope, found.own)

    def _predict(self, m: Measurement) -> Prediction:
        if half(self.circuit, m) == "load" and m.quantity != "resistance":
            return self._nothing()  # it hangs on nothing: what a meter shows there tells nothing
        if m.quantity == "lamp":
            return self._brightness(m)
        if m.at in self.circuit.commands:
            return self._at_command(m)
        if m.quantity == "resistance":
            good_ohm = self.good.drop_v(self.circuit.carried_a) / self.circuit.carried_a
            return resistance(self.circuit, self.cells, good_ohm, m)
        i, j = self.ends(m)
        lamp = self._lamp_place(m, i, j)
        setup = self.setup(m.state, loads_out(self.circuit, m), lamp)
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
            setup = self.setup(m.state, loads_out(self.circuit, m), (i, j), m.bulb)
            volts = self._voltage(setup, i, j, bridged=True, connected=True)
        sign = np.where(volts.mean < 0, -1.0, 1.0) / self.circuit.system_v
        return Prediction(volts.mean * sign, volts.slope * sign[:, None])

    def ends(self, m: Measurement) -> tuple[int, int]:
        """The nodes of the two probes; for one part alone, those before and after it."""
        c = self.circuit
        i, j = c.ends(m.at, m.to)
        if m.quantity == "voltage_drop" and m.at != m.to and c.order[i] > c.order[j]:
            return j, i
        return i, j

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
        slope = -self.good.drop_v(setup.part_a[0]) * unit_a
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
        if m.quantity in ("resistance", "current"):
            return self._nothing()
        cells, s = self.cells, state_index(m.state)
        slope = np.zeros((len(cells), len(UNKNOWNS) + len(self.circuit.parts)))
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
