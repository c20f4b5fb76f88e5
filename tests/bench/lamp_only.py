"""Finds the simulated van's faults with a test lamp alone: `python -m tests.bench.lamp_only [seeds] [first seed]`.

The lamp's light comes from the van's own solved run, by a filament law and eyes of this bench's own; what is asked for
next is the product's choice. Where the complaint is slow cranking, that is said too. The table goes to RESULTS.md.
"""

from __future__ import annotations

import math
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.diagnosis import Diagnoser
from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog_drivers.simulated.scenarios import SCENARIOS
from meterlog_drivers.simulated.van.vehicle import STEP_S, Solved, Trip, van_circuit
from tests.bench.results import printed

Array = NDArray[np.float64]
Spans = tuple[tuple[float, float], ...]

CIRCUIT = van_circuit()
WATT = 5.0
FRESH = 500
"""Seeds from here on were never looked at while anything was developed."""
MOST_READINGS = 25
SEEN_S = 0.12
"""A flicker that is seen."""
SETTLED_S = 0.35
"""Nobody judges a lamp in the first moment."""
ASKED = 4


@dataclass(frozen=True)
class Known:
    """Holds what is wrong in a scenario, and what its driver says.

    Attributes:
        part: the one at fault.
        complaint: `dead` where the pump does not run at all.
        observed: what the complaint says besides.
    """

    part: str
    complaint: str = ""
    observed: tuple[tuple[str, str], ...] = ()


FAULTS = {
    "no-command": Known("relay_coil", "dead"),
    "open-motor": Known("pump", "dead"),
    "blown-fuse": Known("fuse", "dead"),
    "corroded-ground": Known("ground_bolt"),
    "relay-high-resistance": Known("relay"),
    "dead-spot": Known("pump", "dead"),
    "intermittent-feed": Known("feed_wire"),
    "relay-chatter": Known("relay_coil"),
    "dies-and-stays": Known("feed_wire", "dead"),
    "weak-battery-crank": Known("battery", "", (("starter_turns", "slowly"),)),
}
"""The van's scenarios with a fault that a lamp can meet, once each."""


@dataclass(frozen=True)
class Van:
    """The van with a fault, as it is while somebody holds a lamp to it."""

    solved: Solved
    spans: dict[str, Spans]
    eyes: Array

    def readings(self, asked: Measurement) -> list[Measurement]:
        """Return what a person sees there: what lasts longest, and what else it flickers to."""
        share = np.concatenate([self._share(asked, a, b) for a, b in self.spans.get(asked.state, ())])
        words = np.searchsorted(self.eyes, share, side="right")
        lasting = np.bincount(words, minlength=4) * self._every * STEP_S
        usual = int(lasting.argmax())
        seen = [usual, *(k for k in range(4) if abs(k - usual) > 1 and lasting[k] > SEEN_S)]
        shares = list(BRIGHTNESS.values())
        return [replace(asked, value=shares[k], watt=WATT) for k in seen]

    _every = 20

    def _share(self, asked: Measurement, start_s: float, end_s: float) -> Array:
        at = slice(round(start_s / STEP_S), round(end_s / STEP_S), self._every)
        volts, ohm = self._behind(asked, at)
        return np.array([_settled(abs(v), r) for v, r in zip(volts, ohm, strict=True)]) / CIRCUIT.system_v

    def _behind(self, asked: Measurement, at: slice) -> tuple[Array, Array]:
        """The voltage without the lamp and the resistance behind it."""
        solved = self.solved
        if asked.at in CIRCUIT.commands:
            return solved.source_v[at] * np.isfinite(solved.ohm[CIRCUIT.part_index["relay"], at]), np.zeros(1)[
                np.zeros(len(solved.source_v[at]), int)
            ]
        a, b = CIRCUIT.node(asked.at), CIRCUIT.node(asked.to)
        low, high = sorted((a, b))
        ohm = solved.ohm[:, at]
        if asked.load == "unplugged":
            pins = [CIRCUIT.part_index[pin] for pin in ("plug_feed_pin", "pump", "plug_ground_pin")]
            return solved.source_v[at], np.delete(ohm, pins, axis=0).sum(axis=0)
        feed, rest = ohm[low + 1 : high + 1].sum(axis=0), np.delete(ohm, slice(low + 1, high + 1), axis=0).sum(axis=0)
        motor = low < CIRCUIT.load <= high
        rotor = solved.emf_v[at]
        own = solved.motor.winding_ohm
        inside_v = rotor if motor else solved.source_v[at] - rotor
        # a ring: one branch from probe to probe, and the other; each a source and a resistance
        one_v, one_ohm = (rotor, feed + own) if motor else (np.zeros_like(rotor), feed)
        other_v = solved.source_v[at] if motor else inside_v
        other_ohm = rest if motor else rest + own
        both = one_ohm + other_ohm
        with np.errstate(invalid="ignore", divide="ignore"):
            closed = (one_v * other_ohm + other_v * one_ohm) / both
            parallel = one_ohm * other_ohm / both
        volts = np.where(np.isinf(one_ohm), other_v, np.where(np.isinf(other_ohm), one_v, closed))
        behind = np.where(np.isinf(one_ohm), other_ohm, np.where(np.isinf(other_ohm), one_ohm, parallel))
        return np.where(np.isinf(behind), 0.0, volts), behind


def _settled(open_v: float, ohm: float) -> float:
    """The voltage across a filament whose current goes as V^0.55, by bisection."""
    if not math.isfinite(ohm) or open_v <= 0:
        return 0.0
    low, high = 0.0, open_v
    for _ in range(30):
        middle = (low + high) / 2
        amps = WATT / 12.0 * (middle / 12.0) ** 0.55
        low, high = (middle, high) if middle + amps * ohm < open_v else (low, middle)
    return (low + high) / 2


def van(name: str, seed: int) -> Van:
    """A scenario's van on a trip with key-on, crank and drive; what opened for good while driving is open from the
    beginning, since it is measured afterwards."""
    setup = SCENARIOS[name].build(np.random.default_rng([seed, 0]))
    trip, vehicle = setup.trip, setup.vehicle
    faults = tuple(replace(f, start_s=0.0) if math.isinf(f.end_s) else f for f in trip.faults)
    if name == "weak-battery-crank":
        spans: dict[str, Spans] = {"key_on": ((3.3, 4.8),), "crank": trip.cranks}
    elif trip.cranks:
        trip = replace(trip, faults=faults)
        spans = {"key_on": ((2.5, 4.0),), "crank": trip.cranks, "run": ((8.0, trip.duration_s - 1.0),)}
    elif name == "dead-spot":
        vehicle = replace(vehicle, motor=replace(vehicle.motor, dead_arc_rad=2 * math.pi))
        trip = Trip(12.0, ((2.0, math.inf),), ((6.0, 8.0),))
        spans = {"key_on": ((2.0, 3.9),), "crank": ((6.2, 8.0),)}
    else:
        trip = Trip(12.0, ((2.0, math.inf),), ((6.0, 7.2),), ((7.2, math.inf),), faults, trip.coil_open)
        spans = {"key_on": ((2.0, 3.9),), "crank": ((6.2, 7.2),), "run": ((8.0, 11.0),)}
    eyes = np.array([0.15, 0.4, 0.85]) + np.random.default_rng(seed).normal(0.0, 0.03, 3)
    settled = {s: tuple((a + SETTLED_S, b) for a, b in around) for s, around in spans.items()}
    return Van(vehicle.solve(trip), settled, eyes)


def by_lamp(job: tuple[str, int]) -> tuple[str, int, str, int]:
    """Follow the suggestions with a lamp to their end: scenario, seed, the part named ('healthy' for none."""
    name, seed = job
    fault = FAULTS[name]
    here = van(name, seed)
    tool = Diagnoser(CIRCUIT, complaint=fault.complaint, tool="lamp")
    told = [Observed(*one) for one in fault.observed]
    measured = [m for state in here.spans for m in here.readings(_first(state))]
    while len(measured) < MOST_READINGS:
        found = tool.diagnose(measured, told, suggestions=ASKED)
        left = [s.measurement for s in found.next if s.measurement.state in here.spans]
        if not left or found.decided:
            break
        measured += here.readings(left[0])
    best = found.hypotheses[0]
    return name, seed, best.part if best.probability > found.healthy else "healthy", len(measured)


def _first(state: str) -> Measurement:
    return Measurement("lamp", "plug_feed", BATTERY_MINUS, state)


def main(argv: list[str]) -> int:
    """Print the table."""
    numbers = [int(word) for word in argv if word.isdecimal()]
    seeds, first = (*numbers, 5)[0], (*numbers[1:], FRESH)[0]
    jobs = list(product(FAULTS, range(first, first + seeds)))
    with ProcessPoolExecutor(2) as pool:
        ends = list(pool.map(by_lamp, jobs))
    with printed("Diagnosis by a lamp alone"):
        _table(ends)
    return 0


def _table(ends: list[tuple[str, int, str, int]]) -> None:
    print(f"{'scenario':<24}{'at fault':<14}{'right':>8}{'readings':>10}  otherwise")
    most = 0
    for name, fault in FAULTS.items():
        here = [end for end in ends if end[0] == name]
        right = sum(part == fault.part for _, _, part, _ in here)
        most += right > len(here) / 2
        wrong = ", ".join(sorted({part for _, _, part, _ in here if part != fault.part}))
        count = np.median([readings for *_, readings in here])
        print(f"{name:<24}{fault.part:<14}{right:>4} of {len(here)}{count:>9.0f}  {wrong}")
    print(f"right in most of its runs: {most} of {len(FAULTS)} scenarios")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
