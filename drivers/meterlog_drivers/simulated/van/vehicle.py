"""The van: the pump circuit hung on the supply and solved over time.

The control unit commands the relay, the relay closes its contact, the contact and the parts' resistances (faults
included) set what the motor sees; between two changes all of that is constant, one network (`network.py`), and the
motor is solved exactly (`motor.py`). The arc of an opening contact (below a millisecond) is left out: the current ends
with the contact.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
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
from meterlog_drivers.simulated.van.network import Network, Shunt
from meterlog_drivers.simulated.van.relay import Relay
from meterlog_drivers.simulated.van.supply import Array, Span, Supply, within

STEP_S = 0.5e-3
"""Step of the simulation: below the shortest operate time of a relay, and a hundredth of the fastest
meter's averaging window. Moments are rounded to it."""

LEADS_OHM = 0.3
"""A meter's leads have 0.2 to 0.6 ohm (grade A)."""
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
        crank_command: the control unit commands the relay while cranking, too.
        coil_share: share of the supply's voltage that reaches the commanded coil.
        welded: the relay's contact never opens.
        shunts: what hangs on the chain beside the meter: shorts, feeds from elsewhere, lamps.
    """

    supply: Supply = field(default_factory=Supply)
    relay: Relay = field(default_factory=Relay)
    motor: PumpMotor = field(default_factory=PumpMotor)
    prime_s: float = 2.0
    crank_command: bool = True
    coil_share: float = 1.0
    welded: bool = False
    shunts: tuple[Shunt, ...] = ()

    def solve(self, trip: Trip, first_angle_rad: float = 1.0) -> Solved:
        """Run the trip; `first_angle_rad` is where the pump's rotor rests at the start."""
        count = round(trip.duration_s / STEP_S)
        circuit = van_circuit()
        consumers = np.where(within(count, STEP_S, trip.keyed), self.supply.consumers_a, self.supply.asleep_a)
        for begin, end, more_a in trip.awake:
            consumers[within(count, STEP_S, ((begin, end),))] += more_a
        source_v = self.supply.voltage(consumers, STEP_S, trip.cranks, trip.runs)
        commanded = within(count, STEP_S, self._commands(trip)) & ~within(count, STEP_S, trip.coil_open)
        coil_v = np.where(commanded, self.coil_share * source_v, 0.0)
        ohm = np.repeat(circuit.healthy_ohm()[:, None], count, axis=1)
        ohm[0] = self.supply.battery.ohm
        for fault in trip.faults:
            ohm[circuit.part_index[fault.part], within(count, STEP_S, ((fault.start_s, fault.end_s),))] += fault.ohm
        if not self.welded:
            ohm[circuit.part_index["relay"], ~self.relay.contact(coil_v, STEP_S)] = np.inf
        current, speed = self._drive(source_v, ohm, trip, first_angle_rad)
        emf_v = self.motor.constant * speed
        return Solved(circuit, self.motor, source_v, ohm, current, emf_v, consumers, coil_v, self.shunts)

    def _commands(self, trip: Trip) -> tuple[Span, ...]:
        primes = tuple((on, min(on + self.prime_s, off)) for on, off in trip.keyed)
        cranks = tuple((on + FIRST_CRANK_PULSES_S, off) for on, off in trip.cranks) if self.crank_command else ()
        return primes + cranks + trip.runs

    def _drive(self, source_v: Array, ohm: Array, trip: Trip, angle_rad: float) -> tuple[Array, Array]:
        """The motor's current and speed; a burnt segment is written into `ohm` as an open winding."""
        load, count = van_circuit().load, len(source_v)
        taps = [round(t / STEP_S) for t in trip.taps_s if t < trip.duration_s]
        current, speed = np.zeros(count), np.zeros(count)
        i = w = 0.0
        for a, b in pairwise(sorted({0, count, *changes(ohm), *taps})):
            if a in taps:
                angle_rad += self.motor.dead_arc_rad
            network = Network(ohm[:, a], load, self.motor.winding_ohm, self.shunts)
            stuck = w == 0.0 and self.motor.rests_on_dead_arc(angle_rad)
            if stuck and network.fed:
                ohm[load, a:b] = np.inf
            if stuck or not network.fed:
                i = 0.0
                speed[a:b] = self.motor.coast(b - a, STEP_S, w)
            else:
                behind_ohm = network.behind_load_ohm + float(ohm[load, a])
                fed_v = network.load_share * source_v[a:b]
                current[a:b], speed[a:b] = self.motor.drive(fed_v, behind_ohm, STEP_S, i, w)
                i = float(current[b - 1])
            w = float(speed[b - 1])
            angle_rad += STEP_S * float(speed[a:b].sum())
        return current, speed


def changes(ohm: Array) -> list[int]:
    """The steps at which a resistance changes; `ohm` has the shape (parts, n)."""
    same = (ohm[:, 1:] == ohm[:, :-1]).all(axis=0)
    return (np.flatnonzero(~same) + 1).tolist()


@dataclass(frozen=True)
class Solved:
    """The trip solved: what any pair of probes would see.

    Attributes:
        circuit: the chain.
        motor: the pump.
        source_v: the supply's voltage behind the battery's resistance, V, shape (n,).
        ohm: each part's resistance, shape (parts, n); inf is open; the pump's row is what its fault adds.
        current_a: through the pump, A, shape (n,).
        emf_v: what the motor generates, V, shape (n,).
        consumers_a: what else but the starter and the pump is taken from the battery, A, shape (n,).
        coil_v: across the relay's coil, V, shape (n,).
        shunts: what hangs on the chain.
    """

    circuit: Circuit
    motor: PumpMotor
    source_v: Array
    ohm: Array
    current_a: Array
    emf_v: Array
    consumers_a: Array
    coil_v: Array
    shunts: tuple[Shunt, ...] = ()

    def voltage(self, at: str, to: str = "battery_minus") -> Signal:
        """The voltage of a point against another, with a 10 Mohm meter between them."""
        a, b = self.circuit.node(at), self.circuit.node(to)
        volts, floating = np.zeros(len(self.source_v)), np.zeros(len(self.source_v), dtype=bool)
        for part, network in self.networks():
            floating[part] = network.floats(a) or network.floats(b)
            if a != b and not floating[part.start]:
                metered = replace(network, shunts=(*self.shunts, (a, b, METER_OHM)))
                volts[part] = metered.voltage(a, b, self.source_v[part], self.emf_v[part])
        return Signal(Quantity.DC_VOLTAGE, STEP_S, volts, floating)

    def networks(self, *, isolated: bool = False) -> Iterator[tuple[slice, Network]]:
        """Yield the stretches in which nothing switches, as slices of the steps, each with its network."""
        for a, b in pairwise([0, *changes(self.ohm), len(self.source_v)]):
            column = self.ohm[:, a]
            yield slice(a, b), Network(column, self.circuit.load, self.motor.winding_ohm, self.shunts, isolated)

    def current(self, part: str = "") -> Signal:
        """The current through a part, as a clamp sees it; through the pump where none is named."""
        k = self.circuit.part_index[part] if part else self.circuit.load
        amps = self.current_a
        if k != self.circuit.load:
            count = len(self.circuit.parts)
            at, to = (k - 1) % count, k
            amps = np.zeros(len(self.source_v))
            for span, network in self.networks():
                if np.isfinite(network.ohm[k]):
                    volts = network.voltage(at, to, self.source_v[span], self.emf_v[span])
                    amps[span] = (volts + (self.source_v[span] if k == 0 else 0.0)) / network.ohm[k]
        return Signal(Quantity.DC_CURRENT, STEP_S, amps, np.zeros(len(amps), dtype=bool))

    def coil(self) -> Signal:
        """The voltage across the relay's coil."""
        return Signal(Quantity.DC_VOLTAGE, STEP_S, self.coil_v, np.zeros(len(self.coil_v), dtype=bool))

    def battery_current(self) -> Signal:
        """The current out of the battery, the starter's left out; with the engine off."""
        total = self.consumers_a + self.current_a
        return Signal(Quantity.DC_CURRENT, STEP_S, total, np.zeros(len(total), dtype=bool))

    def resistance(self, at: str, to: str, leads_ohm: float = LEADS_OHM) -> Signal:
        """The resistance between two points, isolated and at rest, leads included (0.2-0.6 ohm, grade A)."""
        a, b = self.circuit.node(at), self.circuit.node(to)
        ohm = np.full(len(self.source_v), leads_ohm)
        for part, network in self.networks(isolated=True):
            ohm[part] += network.behind_ohm(a, b) if a != b else 0.0
        return Signal(Quantity.RESISTANCE, STEP_S, ohm, np.zeros(len(ohm), dtype=bool))
