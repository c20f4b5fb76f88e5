"""The worlds: what breaks how often, how people measure, how vehicles differ. All weights are the bench's own guesses.

None of them is the product's table, and none is right: a diagnosis must hold in each.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tests.bench.diagnosis_world.circuits import EVERY, SHARES, Drawn, with_speed_unit
from tests.bench.diagnosis_world.faults import FAULTS
from tests.bench.diagnosis_world.vehicle import GOOD_OHM, Vehicle


@dataclass(frozen=True)
class World:
    """One world.

    Attributes:
        name: its name.
        weights: how often each class of fault occurs, relative to the others.
        bad_share: of readings.
        meter_ohm: input resistance of the meters in use.
        never_primes: share of sound pump circuits that close only in crank.
        speed_unit: share of circuits with a relay that have one.
        worn: factor on the spread of good parts' resistances.
    """

    name: str
    weights: Mapping[str, float]
    bad_share: float
    meter_ohm: tuple[float, ...]
    never_primes: float
    speed_unit: float
    worn: float


SAY_HOT = (0.8, 0.25, 0.05)
"""Says how often 'only when it is hot' is said: of what heat opens, of what comes and goes, of all else. Guesses."""
BRIDGED_IN_CRANK = 0.3
"""Share of speed units that are bridged while cranking. A guess."""
EVEN = dict.fromkeys(FAULTS, 1.0)
WORLDS = {
    "garage": World(
        "garage",
        EVEN
        | {"open": 4, "resistive": 7, "relay": 4, "command": 3, "fuse": 3, "open load": 5, "two": 2, "unlisted": 2},
        0.03,
        (10e6,),
        0.08,
        0.1,
        1.0,
    ),
    "old iron": World(
        "old iron",
        EVEN
        | {"resistive": 10, "open": 4, "two": 4, "shared ground": 4, "wet plug": 3, "lazy battery": 3, "unlisted": 4}
        | {"comes and goes": 3, "relay": 3, "open load": 3, "discharged": 2},
        0.07,
        (1e6, 10e6),
        0.08,
        0.05,
        1.5,
    ),
    "young electrics": World(
        "young electrics",
        EVEN
        | {"command": 6, "weak command": 2, "start contact": 2, "welded": 2, "short": 3, "fuse": 3, "open": 5}
        | {"open load": 4, "never primes": 6, "relay": 3, "tight": 2, "seized": 2},
        0.0,
        (1e6, 10e6),
        0.3,
        0.25,
        0.8,
    ),
}
"""Three worlds: a mixed trade, corroded cars measured in haste, young cars measured with care."""


@dataclass(frozen=True)
class Case:
    """One vehicle to diagnose.

    `fault` names its class, or is `sound...`; `right` are the answers that are right; `hot` is what the driver says:
    only when it is hot.
    """

    vehicle: Vehicle
    fault: str
    right: frozenset[str]
    hot: bool


def make_case(world: World, rng: np.random.Generator, *, sound: bool) -> Case:
    """Draw a vehicle of a world, with a fault of one of its classes or sound."""
    if sound:
        vehicle = sound_vehicle(world, rng)
        return Case(vehicle, _sound_name(vehicle), frozenset({"healthy"}), rng.random() < SAY_HOT[2])
    names = list(world.weights)
    p = np.array([world.weights[name] for name in names])
    fault = FAULTS[str(rng.choice(names, p=p / p.sum()))]
    while True:  # until a circuit comes that can have this fault
        made = fault.make(sound_vehicle(world, rng), rng)
        if made:
            says = SAY_HOT[0] if made[0].heat else SAY_HOT[1] if made[0].flickers >= 0 else SAY_HOT[2]
            return Case(made[0], fault.name, made[1], rng.random() < says)


def sound_vehicle(world: World, rng: np.random.Generator) -> Vehicle:
    """A vehicle that does its work."""
    drawn = EVERY[int(rng.choice(len(EVERY), p=SHARES))]
    unit_ohm = 0.0
    if drawn.motor and drawn.relay and rng.random() < world.speed_unit:
        drawn, unit_ohm = with_speed_unit(drawn), drawn.unit_ohm * math.exp(rng.normal(0, 0.2))
    load_a = drawn.load_a * math.exp(rng.normal(0, 0.15))
    vehicle = Vehicle(
        drawn=drawn,
        ohm=_good_ohm(drawn, world, rng),
        emf_v=float(rng.normal(12.6, 0.15)),
        inside_ohm=float(rng.uniform(0.005, 0.013)),
        run_v=float(rng.normal(14.1, 0.25)),
        load_a=load_a,
        winding_ohm=_winding(drawn, load_a, rng),
        curve=float(rng.uniform(0.2, 0.6)) if drawn.motor else 0.55 if drawn.name == "lamp" else 1.0,
        coil_v=_coil(drawn, rng.random() < world.never_primes),
        lead_ohm=float(rng.uniform(0.1, 0.6)),
        meter_ohm=float(rng.choice(world.meter_ohm)),
    )
    if not unit_ohm:
        return vehicle
    bypass = "crank" in drawn.active and rng.random() < BRIDGED_IN_CRANK
    return replace(vehicle.changed(drawn.index("speed_unit"), unit_ohm), bypass=bool(bypass))


def _good_ohm(drawn: Drawn, world: World, rng: np.random.Generator) -> np.ndarray:
    """Good parts lose less than 0.2 V each and 0.6 V together; a worn car's more than a new one's."""
    usual = np.array([GOOD_OHM.get(kind, 0.0) for _, kind, _ in drawn.parts]) * 5 / drawn.load_a
    ohm = usual * np.exp(rng.normal(0.0, 0.7 * world.worn, len(usual)))
    most = 0.6 / drawn.load_a
    ohm = np.minimum(ohm, most / 3)
    return np.asarray(ohm * min(1.0, most / ohm.sum()))


def _winding(drawn: Drawn, load_a: float, rng: np.random.Generator) -> float:
    """At rest a motor has a third of its running resistance, a filament a tenth, a coil all of it."""
    share = 0.35 if drawn.motor else 0.1 if drawn.name == "lamp" else 0.95
    return share * 12 / load_a * math.exp(rng.normal(0, 0.25))


def _coil(drawn: Drawn, never_primes: bool) -> dict[str, float]:
    """The share of the posts' voltage at the coil by state."""
    if not drawn.relay:
        return {}
    found = dict.fromkeys(drawn.active, 1.0)
    if never_primes and "prime" in found:
        found |= {"key_on": 0.0, "prime": 0.0}
    return found


def _sound_name(vehicle: Vehicle) -> str:
    if "speed_unit" in [part[0] for part in vehicle.drawn.parts]:
        return "sound, with a speed unit or PWM feed"
    if vehicle.coil_v.get("prime") == 0.0:
        return "sound, never primes"
    return "sound"
