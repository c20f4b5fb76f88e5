"""The van: the pump circuit hung on the supply and solved over time.

The control unit commands the relay, the relay closes its contact, the contact and the parts' resistances (faults
included) set what the motor sees; between two changes all of that is constant and the motor is solved exactly
(`motor.py`). Node voltages follow from the current along the chain; where the chain is open, everything on the
battery's side of the first break has its voltage, everything on the other side of the last break lies at battery -
(plus what the coasting motor generates), and what is between two breaks floats. The arc of an opening contact
(below a millisecond) is left out: the current ends with the contact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.model.solve import METER_OHM
from meterlog.reading import Quantity
from meterlog_drivers.simulated.van.motor import PumpMotor
from meterlog_drivers.simulated.van.relay import Relay
from meterlog_drivers.simulated.van.supply import Array, Span, Supply, within

STEP_S = 0.5e-3
"""Step of the simulation: below the shortest operate time of a relay, and a hundredth of the fastest
meter's averaging window. Moments are rounded to it."""

FIRST_CRANK_PULSES_S = 0.15
"""From the starter's engagement to the control unit's seeing crank pulses, s (from memory, unverified)."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Resistance added to a part for a while.

    Attributes:
        part: its id in `van.toml`; `pump` is the winding and its brushes.
        ohm: added in series; inf opens it.
        start_s, end_s: when, s.
    """

    part: str
    ohm: float
    start_s: float = 0.0
    end_s: float = math.inf


@dataclass(frozen=True, slots=True)
class Trip:
    """The acts of a drive: what is done with the van.

    Attributes:
        duration_s: s.
        keyed, cranks, runs: when the key is on, the starter turns, the engine runs; spans in s.
        faults: what is wrong with the pump circuit.
        coil_open: when the relay coil is without its feed or its command.
        taps_s: when somebody taps the pump, which moves a rotor off a burnt segment, s.
        awake: consumers beside those of the ignition: from, to (s), and how much (A).
    """

    duration_s: float
    keyed: tuple[Span, ...] = ()
    cranks: tuple[Span, ...] = ()
    runs: tuple[Span, ...] = ()
    faults: tuple[Fault, ...] = ()
    coil_open: tuple[Span, ...] = ()
    taps_s: tuple[float, ...] = ()
    awake: tuple[tuple[float, float, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Signal:
    """The true signal between two probes.

    Attributes:
        quantity: what is measured.
        step_s: spacing of the values, s; the first is at 0.
        value: in the quantity's unit, shape (n,); inf is an open circuit on ohms.
        floating: where a probe hangs on nothing, shape (n,).
    """

    quantity: Quantity
    step_s: float
    value: Array
    floating: NDArray[np.bool_]


@cache
def van_circuit() -> Circuit:
    """The circuit of `van.toml`."""
    import tomllib

    text = files("meterlog_drivers.simulated.van").joinpath("van.toml").read_text("utf-8")
    return circuit_from_table(tomllib.loads(text), "van.toml")


@dataclass(frozen=True)
class Vehicle:
    """The van.

    Attributes:
        supply, relay, motor: see their modules.
        prime_s: how long the control unit primes at key-on, s; 0 for a van that primes only while cranking.
    """

    supply: Supply = field(default_factory=Supply)
    relay: Relay = field(default_factory=Relay)
    motor: PumpMotor = field(default_factory=PumpMotor)
    prime_s: float = 2.0

    def solve(self, trip: Trip, first_angle_rad: float = 1.0) -> Solved:
        """Run the trip; `first_angle_rad` is where the pump's rotor rests at the start."""
        count = round(trip.duration_s / STEP_S)
        circuit = van_circuit()
        consumers = np.where(within(count, STEP_S, trip.keyed), self.supply.consumers_a, self.supply.asleep_a)
        for begin, end, more_a in trip.awake:
            consumers[within(count, STEP_S, ((begin, end),))] += more_a
        source_v = self.supply.voltage(consumers, STEP_S, trip.cranks, trip.runs)
        commanded = within(count, STEP_S, self._commands(trip)) & ~within(count, STEP_S, trip.coil_open)
        closed = self.relay.contact(np.where(commanded, source_v, 0.0), STEP_S)
        ohm = np.repeat(circuit.healthy_ohm()[:, None], count, axis=1)
        ohm[0] = self.supply.battery.ohm
        for fault in trip.faults:
            ohm[circuit.part_index[fault.part], within(count, STEP_S, ((fault.start_s, fault.end_s),))] += fault.ohm
        ohm[circuit.part_index["relay"], ~closed] = np.inf
        current, speed = self._drive(source_v, ohm, trip, first_angle_rad, circuit.load)
        return Solved(circuit, self.motor, source_v, ohm, current, self.motor.constant * speed, consumers)

    def _commands(self, trip: Trip) -> tuple[Span, ...]:
        primes = tuple((on, min(on + self.prime_s, off)) for on, off in trip.keyed)
        cranks = tuple((on + FIRST_CRANK_PULSES_S, off) for on, off in trip.cranks)
        return primes + cranks + trip.runs

    def _drive(self, source_v: Array, ohm: Array, trip: Trip, angle_rad: float, load: int) -> tuple[Array, Array]:
        """The motor's current and speed; a burnt segment is written into `ohm` as an open winding."""
        count = len(source_v)
        total = ohm.sum(axis=0)
        changes = np.flatnonzero(total[1:] != total[:-1]) + 1
        taps = [round(t / STEP_S) for t in trip.taps_s if t < trip.duration_s]
        bounds = sorted({0, count, *changes.tolist(), *taps})
        current, speed = np.zeros(count), np.zeros(count)
        i = w = 0.0
        for a, b in pairwise(bounds):
            if a in taps:
                angle_rad += self.motor.dead_arc_rad
            stuck = w == 0.0 and self.motor.rests_on_dead_arc(angle_rad)
            if stuck and np.isfinite(total[a]):
                ohm[load, a:b] = np.inf
            if stuck or not np.isfinite(total[a]):
                i = 0.0
                speed[a:b] = self.motor.coast(b - a, STEP_S, w)
            else:
                current[a:b], speed[a:b] = self.motor.drive(source_v[a:b], float(total[a]), STEP_S, i, w)
                i = float(current[b - 1])
            w = float(speed[b - 1])
            angle_rad += STEP_S * float(speed[a:b].sum())
        return current, speed


@dataclass(frozen=True)
class Solved:
    """The trip solved: what any pair of probes would see.

    Attributes:
        circuit: the chain.
        motor: the pump.
        source_v: the supply's voltage behind the battery's resistance, V, shape (n,).
        ohm: each part's resistance, shape (parts, n); inf is open; the pump's row is what its fault adds.
        current_a: through the chain, A, shape (n,).
        emf_v: what the motor generates, V, shape (n,).
        consumers_a: what else but the starter and the pump is taken from the battery, A, shape (n,).
    """

    circuit: Circuit
    motor: PumpMotor
    source_v: Array
    ohm: Array
    current_a: Array
    emf_v: Array
    consumers_a: Array

    def voltage(self, at: str, to: str = "battery_minus") -> Signal:
        """The voltage of a point against another, with a 10 Mohm meter between them."""
        a, b = self.circuit.node(at), self.circuit.node(to)
        (at_v, at_ohm), (to_v, to_ohm) = self._node(a), self._node(b)
        source_ohm = at_ohm + to_ohm
        floating = ~np.isfinite(source_ohm)
        volts = np.where(floating, 0.0, at_v - to_v)
        share = METER_OHM / (METER_OHM + np.where(floating, 0.0, source_ohm))
        return Signal(Quantity.DC_VOLTAGE, STEP_S, volts * share, floating)

    def current(self) -> Signal:
        """The current through the chain, as a clamp sees it."""
        return Signal(Quantity.DC_CURRENT, STEP_S, self.current_a, np.zeros(len(self.current_a), dtype=bool))

    def battery_current(self) -> Signal:
        """The current out of the battery, the starter's left out; with the engine off."""
        total = self.consumers_a + self.current_a
        return Signal(Quantity.DC_CURRENT, STEP_S, total, np.zeros(len(total), dtype=bool))

    def resistance(self, at: str, to: str, leads_ohm: float = 0.3) -> Signal:
        """The resistance from a point to a later one, isolated and at rest, leads included (0.2-0.6 ohm, grade A)."""
        a, b = self.circuit.node(at), self.circuit.node(to)
        ohm = leads_ohm + self.ohm[a + 1 : b + 1].sum(axis=0)
        if a < self.circuit.load <= b:
            ohm = ohm + self.motor.winding_ohm
        return Signal(Quantity.RESISTANCE, STEP_S, ohm, np.zeros(len(ohm), dtype=bool))

    def _node(self, node: int) -> tuple[Array, Array]:
        """Voltage of the node after that part against battery -, and the resistance behind it (inf: it floats)."""
        load = self.circuit.load
        above = self.ohm[: node + 1].sum(axis=0)
        below = self.ohm[node + 1 :].sum(axis=0)
        emf_above = self.emf_v if node >= load else np.zeros_like(self.emf_v)
        fed, grounded = np.isfinite(above), np.isfinite(below)
        finite_above, finite_below = np.where(fed, above, 0.0), np.where(grounded, below, 0.0)
        from_plus = self.source_v - self.current_a * finite_above - emf_above
        if node >= load:
            from_minus = self.current_a * finite_below
            finite_above = finite_above + self.motor.winding_ohm
        else:
            from_minus = self.emf_v + np.where(fed, self.current_a * (finite_below + self.motor.winding_ohm), 0.0)
            finite_below = finite_below + self.motor.winding_ohm
        volts = np.where(grounded & (~fed | (node >= load)), from_minus, np.where(fed, from_plus, 0.0))
        both = finite_above * finite_below / np.maximum(finite_above + finite_below, 1e-12)
        behind = np.where(fed & grounded, both, np.where(fed, finite_above, np.where(grounded, finite_below, np.inf)))
        return volts, behind
