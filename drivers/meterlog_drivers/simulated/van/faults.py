"""Says what may be wrong with the van, by name, and what it changes.

A fault is written `PART:KIND`, with the kinds of the diagnosis: `fuse:open`, `relay_coil:not_commanded`; a part that
has too much resistance by its ohms, `relay:1.6`; a part alone by the way in which it fails most. Several stand with a
comma between them. `none` is a sound van, `hidden` one fault that the seed draws.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

import numpy as np

from meterlog.errors import UsageError, did_you_mean
from meterlog_drivers.simulated.van.supply import Span
from meterlog_drivers.simulated.van.vehicle import Fault, Trip, Vehicle, van_circuit

NONE, HIDDEN = "none", "hidden"

HIGH_OHM, INSIDE_OHM = (0.4, 3.0), (0.012, 0.017)
"""Least and most of what a bad contact adds, and of what a worn battery adds inside, ohm, where no figure is given. The
first is what makes a pump weak or stop, the second what leaves 6-8 V while cranking. Guesses."""
GOOD_S, GONE_S, LEAST_S = 1.2, 0.7, 0.25
"""A contact that comes and goes: mean times that it holds and that it is gone, and the least of each, s. Guesses."""
SHORT_OHM = 0.02
"""A chafed wire's way to the body, ohm. A guess."""
FEED_OHM = 0.1
"""The way of a feed from elsewhere, ohm. A guess."""
WET_OHM, GREEN_OHM = 150.0, 1.2
"""Made by salt water between two contacts, and lost in a contact that it turned green, ohm. Guesses."""
WEAK_COIL_SHARE = 0.38
"""Share of the supply's voltage at a weakly commanded coil: 5 of 12 V, below what a relay needs. A guess."""
WEAK_LOAD_SHARE = 0.5
"""Share of its torque that a worn pump asks for: it turns without delivering. A guess."""
STUCK_NM = 1.0
"""Torque that a stuck pump asks for, N m: more than its winding's current at 15 V gives (0.2). A guess."""
WEAK_CHARGE, WEAK_INSIDE_OHM = 0.1, 0.013
"""Charge (share of full) of a weak battery, and its inside resistance, ohm. Guesses."""

_SERIES = ("open", "high_resistance", "intermittent")
_COMMAND = ("not_commanded", "half_commanded", "weakly_commanded", "intermittent")
_MORE = {
    "fuse": ("wrong_size", "branch_shorted"),
    "relay_contact": ("stuck_closed",),
    "wire": (),
    "motor": ("stalled", "weak", "short_to_ground"),
}

Change = Callable[["VanFault", Vehicle, Trip, np.random.Generator], tuple[Vehicle, Trip]]


@dataclass(frozen=True, slots=True)
class VanFault:
    """One thing that is wrong.

    Attributes:
        part: a part of the circuit, or its command.
        kind: one of `kinds(part)`.
        ohm: what is added in series, for `high_resistance`.
    """

    part: str
    kind: str
    ohm: float = math.inf

    def __str__(self) -> str:
        return f"{self.part}:{self.ohm:.2g}" if self.kind == "high_resistance" else f"{self.part}:{self.kind}"

    @property
    def words(self) -> str:
        """Return what is wrong, as a person says it."""
        how = f"has {self.ohm:.2g} ohm too much" if self.kind == "high_resistance" else _WORDS[self.kind]
        return f"{self.part} {how}"


_WORDS = {
    "open": "is open",
    "intermittent": "comes and goes",
    "wrong_size": "has blown: it was too small",
    "branch_shorted": "has blown: something else that hangs on it is shorted",
    "stuck_closed": "never opens",
    "short_to_ground": "is shorted to ground, and the fuse has blown",
    "fed_elsewhere": "is fed from elsewhere",
    "leaks": "is wet and green, and leaks to another contact",
    "stalled": "is stuck",
    "weak": "is weak",
    "not_commanded": "gets no command",
    "half_commanded": "gets its command at key-on only",
    "weakly_commanded": "gets too weak a command",
}


def kinds(part: str) -> tuple[str, ...]:
    """The ways in which a part can fail, the most usual first; none where there is no such part."""
    circuit = van_circuit()
    if part in circuit.commands:
        return _COMMAND
    k = circuit.part_index.get(part)
    if k is None:
        return ()
    if k == 0:
        return ("weak", "high_resistance")
    feeds = circuit.parts[k].kind == "wire" and circuit.part_index["relay"] < k < circuit.load
    chafed = ("short_to_ground", "fed_elsewhere") if feeds else ()
    wet = ("leaks",) if circuit.parts[k].leaks_to else ()
    return (*_SERIES, *_MORE.get(circuit.parts[k].kind, ()), *chafed, *wet)


def every_fault() -> list[tuple[str, str]]:
    """Every part or command with every way in which it can fail."""
    circuit = van_circuit()
    return [(part, kind) for part in (*circuit.part_index, *circuit.commands) for kind in kinds(part)]


def faults_named(text: str, seed: int = 0) -> tuple[VanFault, ...]:
    """The faults that somebody wrote.

    Args:
        text: `none`, `hidden`, or faults as this module says.
        seed: draws the hidden one, and the ohms that were not written.

    Raises:
        UsageError: there is no such part, or it cannot fail so; with what there is.
    """
    rng = np.random.default_rng([seed, 4])
    if text == NONE:
        return ()
    if text == HIDDEN:
        every = every_fault()
        return (_fault(*every[int(rng.integers(len(every)))], rng),)
    return tuple(_named(one.strip(), rng) for one in text.split(","))


def without(faults: Iterable[VanFault], repaired: Iterable[str]) -> tuple[VanFault, ...]:
    """Return what is left once some parts were put right."""
    done = set(repaired)
    return tuple(fault for fault in faults if fault.part not in done)


def at_fault(
    faults: Iterable[VanFault], vehicle: Vehicle, trip: Trip, rng: np.random.Generator
) -> tuple[Vehicle, Trip]:
    """The vehicle and the trip as the faults leave them."""
    for fault in faults:
        vehicle, trip = _CHANGES[fault.kind](fault, vehicle, trip, rng)
    return vehicle, trip


def _named(text: str, rng: np.random.Generator) -> VanFault:
    part, _, how = text.partition(":")
    known = kinds(part)
    if not known:
        circuit = van_circuit()
        parts = [*circuit.part_index, *circuit.commands]
        hint = did_you_mean(part, [*parts, NONE, HIDDEN])
        raise UsageError(f"the van has no part '{part}' to fail{hint}; it has {', '.join(parts)}; or {NONE}, {HIDDEN}")
    try:
        ohm = float(how) if how else math.nan
    except ValueError:
        ohm = math.nan
    if ohm > 0 and "high_resistance" in known:
        return VanFault(part, "high_resistance", ohm)
    if how and how not in known:
        ohms = ", or ohms such as 1.6" if "high_resistance" in known else ""
        raise UsageError(
            f"the van's {part} cannot be '{how}'{did_you_mean(how, known)}; it can be {', '.join(known)}{ohms}"
        )
    return _fault(part, how or known[0], rng)


def _fault(part: str, kind: str, rng: np.random.Generator) -> VanFault:
    if kind != "high_resistance":
        return VanFault(part, kind)
    low, high = INSIDE_OHM if part == van_circuit().parts[0].id else HIGH_OHM
    return VanFault(part, kind, float(np.exp(rng.uniform(np.log(low), np.log(high)))))


def _in_series(fault: VanFault, vehicle: Vehicle, trip: Trip, _: np.random.Generator) -> tuple[Vehicle, Trip]:
    if fault.part == van_circuit().parts[0].id:
        battery = vehicle.supply.battery
        worn = replace(battery, healthy_ohm=battery.healthy_ohm + fault.ohm)
        return replace(vehicle, supply=replace(vehicle.supply, battery=worn)), trip
    return vehicle, _more(trip, Fault(fault.part, fault.ohm))


def _intermittent(fault: VanFault, vehicle: Vehicle, trip: Trip, rng: np.random.Generator) -> tuple[Vehicle, Trip]:
    gone: list[Span] = []
    t = -float(rng.uniform(0.0, GOOD_S))
    while t < trip.duration_s:
        t += LEAST_S + float(rng.exponential(GOOD_S))
        end = t + LEAST_S + float(rng.exponential(GONE_S))
        gone.append((max(t, 0.0), end))
        t = end
    if fault.part in van_circuit().commands:
        return vehicle, replace(trip, coil_open=(*trip.coil_open, *gone))
    return vehicle, _more(trip, *(Fault(fault.part, math.inf, a, b) for a, b in gone))


def _shorted(fault: VanFault, vehicle: Vehicle, trip: Trip, _: np.random.Generator) -> tuple[Vehicle, Trip]:
    circuit = van_circuit()
    if fault.part == circuit.parts[circuit.load].id:
        changed = replace(vehicle, motor=replace(vehicle.motor, winding_ohm=SHORT_OHM))
    else:
        changed = _hung(vehicle, circuit.node(fault.part), circuit.node("body"), SHORT_OHM)
    return changed, _more(trip, Fault("fuse", math.inf))


def _fed(fault: VanFault, vehicle: Vehicle, trip: Trip, _: np.random.Generator) -> tuple[Vehicle, Trip]:
    return _hung(vehicle, 0, van_circuit().node(fault.part), FEED_OHM), trip


def _leaks(fault: VanFault, vehicle: Vehicle, trip: Trip, _: np.random.Generator) -> tuple[Vehicle, Trip]:
    circuit = van_circuit()
    k = circuit.part_index[fault.part]
    wet = _hung(vehicle, circuit.before[k], circuit.node(circuit.parts[k].leaks_to), WET_OHM)
    return wet, _more(trip, Fault(fault.part, GREEN_OHM))


def _weak(fault: VanFault, vehicle: Vehicle, trip: Trip, _: np.random.Generator) -> tuple[Vehicle, Trip]:
    if fault.part == van_circuit().parts[0].id:
        battery = replace(vehicle.supply.battery, charge=WEAK_CHARGE, healthy_ohm=WEAK_INSIDE_OHM)
        return replace(vehicle, supply=replace(vehicle.supply, battery=battery)), trip
    return replace(vehicle, motor=replace(vehicle.motor, load_nm=WEAK_LOAD_SHARE * vehicle.motor.load_nm)), trip


def _changed(**fields: object) -> Change:
    """A change of the vehicle's own figures."""

    def change(_: VanFault, vehicle: Vehicle, trip: Trip, __: np.random.Generator) -> tuple[Vehicle, Trip]:
        return replace(vehicle, **fields), trip  # type: ignore[arg-type]  # fields of Vehicle

    return change


def _stalled(_: VanFault, vehicle: Vehicle, trip: Trip, __: np.random.Generator) -> tuple[Vehicle, Trip]:
    return replace(vehicle, motor=replace(vehicle.motor, load_nm=STUCK_NM)), trip


def _more(trip: Trip, *faults: Fault) -> Trip:
    return replace(trip, faults=(*trip.faults, *faults))


def _hung(vehicle: Vehicle, a: int, b: int, ohm: float) -> Vehicle:
    return replace(vehicle, shunts=(*vehicle.shunts, (a, b, ohm)))


_CHANGES: dict[str, Change] = {
    "open": _in_series,
    "wrong_size": _in_series,
    "branch_shorted": _shorted,
    "high_resistance": _in_series,
    "intermittent": _intermittent,
    "stuck_closed": _changed(welded=True),
    "short_to_ground": _shorted,
    "fed_elsewhere": _fed,
    "leaks": _leaks,
    "stalled": _stalled,
    "weak": _weak,
    "not_commanded": _changed(coil_share=0.0),
    "half_commanded": _changed(crank_command=False),
    "weakly_commanded": _changed(coil_share=WEAK_COIL_SHARE),
}
