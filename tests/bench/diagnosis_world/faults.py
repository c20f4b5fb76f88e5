"""The classes of fault: what each changes in a sound vehicle, and which answers are then right."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from tests.bench.diagnosis_world.meter import MOST_IN_SERIES_A
from tests.bench.diagnosis_world.vehicle import Vehicle

Made = tuple[Vehicle, frozenset[str]]
OUTSIDE = "outside"
"""The right answer where nothing in the file's circuit is at fault: 'these readings fit nothing in this circuit'."""


@dataclass(frozen=True)
class Fault:
    """A class of fault.

    Attributes:
        name: its row in the results.
        make: the vehicle with it, and every answer that is right; None where this circuit cannot have it.
        note: why no reading of the circuit can tell; empty where one can.
    """

    name: str
    make: Callable[[Vehicle, np.random.Generator], Made | None]
    note: str = ""


def series_parts(vehicle: Vehicle) -> list[int]:
    """The connectors, wires, grounds and switches, which lose voltage or open."""
    return [k for k in range(1, len(vehicle.ohm)) if vehicle.drawn.kind(k) in ("connector", "wire", "ground", "switch")]


def lossy_ohm(vehicle: Vehicle, rng: np.random.Generator) -> float:
    """A resistance that takes 1 to 11 V from the load; one in eight lets next to nothing through."""
    if rng.random() < 0.125:
        return float(10 ** rng.uniform(1.5, 4.5))
    lost = rng.uniform(0.09, 0.9)
    return float(lost / (1 - lost) * 12 / vehicle.load_a)


def _name(vehicle: Vehicle, k: int) -> frozenset[str]:
    return frozenset({vehicle.drawn.parts[k][0]})


def _open(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    k = int(rng.choice(series_parts(vehicle)))
    return vehicle.changed(k, math.inf), _name(vehicle, k)


def _resistive(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    k = int(rng.choice(series_parts(vehicle)))
    film = frozenset({k}) if rng.random() < 0.25 else frozenset[int]()
    return replace(vehicle.changed(k, lossy_ohm(vehicle, rng)), film=film), _name(vehicle, k)


def _relay(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if not vehicle.drawn.relay:
        return None
    k = vehicle.drawn.index(vehicle.drawn.relay)
    ohm = math.inf if rng.random() < 0.6 else lossy_ohm(vehicle, rng)
    return vehicle.changed(k, ohm), _name(vehicle, k)


def _command(vehicle: Vehicle, _: np.random.Generator) -> Made | None:
    if not vehicle.drawn.relay:
        return None
    return replace(vehicle, coil_v={}), frozenset({vehicle.drawn.coil})


def _only(*states: str) -> Callable[[Vehicle, np.random.Generator], Made | None]:
    def make(vehicle: Vehicle, _: np.random.Generator) -> Made | None:
        if "prime" not in vehicle.drawn.active or not vehicle.drawn.relay or not vehicle.coil_v["key_on"]:
            return None
        kept = {state: share if state in states else 0.0 for state, share in vehicle.coil_v.items()}
        return replace(vehicle, coil_v=kept), frozenset({vehicle.drawn.coil})

    return make


def _weak_command(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if not vehicle.drawn.relay:
        return None
    weak = float(rng.uniform(0.25, 0.45))
    return replace(vehicle, coil_v={s: v * weak for s, v in vehicle.coil_v.items()}), frozenset({vehicle.drawn.coil})


def _lazy_battery(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if "crank" not in vehicle.drawn.active:
        return None
    inside = float(rng.uniform(0.035, 0.12))
    return replace(vehicle, inside_ohm=inside, emf_v=float(rng.uniform(12.4, 13.2))), _name(vehicle, 0)


def _discharged(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if set(vehicle.drawn.active) == {"key_on", "run"}:
        return None
    emf = float(rng.uniform(8.5, 11.6))
    return replace(vehicle, emf_v=emf, inside_ohm=float(rng.uniform(0.02, 0.05))), _name(vehicle, 0)


def _fuse(vehicle: Vehicle, _: np.random.Generator) -> Made:
    k = vehicle.drawn.last("fuse")
    return vehicle.changed(k, math.inf), _name(vehicle, k)


def _welded(vehicle: Vehicle, _: np.random.Generator) -> Made | None:
    return (replace(vehicle, welded=True), frozenset({vehicle.drawn.relay})) if vehicle.drawn.relay else None


def _fed_elsewhere(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if not vehicle.drawn.relay:
        return None
    k = next(k for k in range(vehicle.drawn.index(vehicle.drawn.relay), 99) if vehicle.drawn.kind(k) == "wire")
    ohm = float(rng.choice([0.05, rng.uniform(0.1, 2.0)]))  # through more than that nothing runs, and nobody comes
    return replace(vehicle, feed=(k, ohm)), _run_of_wires(vehicle) | {OUTSIDE}


def _run_of_wires(vehicle: Vehicle) -> frozenset[str]:
    """The wires from the fuse to the load: which of them only taking the connector between them apart would tell."""
    fuse = vehicle.drawn.last("fuse")
    wires = [k for k in range(fuse + 1, vehicle.drawn.load) if vehicle.drawn.kind(k) == "wire"]
    return frozenset(vehicle.drawn.parts[k][0] for k in wires)


def _short(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    fuse = vehicle.drawn.last("fuse")
    wires = [k for k in range(fuse + 1, vehicle.drawn.load) if vehicle.drawn.kind(k) == "wire"]
    blown = replace(vehicle.changed(fuse, math.inf), blows=True)
    if rng.random() < 0.2:  # inside the load, from one of its pins to the other
        shorted = replace(blown, winding_ohm=float(rng.uniform(0.01, 0.1)), stalled=True)
        return shorted, _name(vehicle, vehicle.drawn.load)
    k = int(rng.choice(wires))
    return replace(blown, leak=(k, float(rng.uniform(0.02, 0.5)))), _run_of_wires(vehicle)


def _wrong_fuse(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    made, right = _fuse(vehicle, rng)
    return replace(made, blows=True), right


def _tight(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    return _draws(vehicle, float(rng.uniform(1.5, 2.3))) if _in_series(vehicle) else None


def _idle(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    return _draws(vehicle, float(rng.uniform(0.3, 0.6))) if _in_series(vehicle) else None


def _in_series(vehicle: Vehicle) -> bool:
    """A motor whose current a hand-held meter can measure: of a larger one nothing tells that it is tight."""
    return vehicle.drawn.motor and vehicle.drawn.load_a < MOST_IN_SERIES_A


def _draws(vehicle: Vehicle, share: float) -> Made:
    return replace(vehicle, load_a=vehicle.load_a * share), _name(vehicle, vehicle.drawn.load)


def _seized(vehicle: Vehicle, _: np.random.Generator) -> Made | None:
    return (replace(vehicle, stalled=True), _name(vehicle, vehicle.drawn.load)) if vehicle.drawn.motor else None


def _open_load(vehicle: Vehicle, _: np.random.Generator) -> Made:
    return vehicle.changed(vehicle.drawn.load, math.inf), _name(vehicle, vehicle.drawn.load)


def _wet_plug(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    k = vehicle.drawn.load - 1
    if vehicle.drawn.kind(k) != "connector":
        return None
    wet = replace(vehicle, leak=(k - 1, float(rng.uniform(30, 400))))
    return wet.changed(k, lossy_ohm(vehicle, rng)), _name(vehicle, k)


def _shared_ground(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    k = next(k for k in range(vehicle.drawn.load, 99) if vehicle.drawn.kind(k) == "ground")
    bad = vehicle.changed(k, lossy_ohm(vehicle, rng))
    return replace(bad, neighbour=(k - 1, float(rng.uniform(1, 8)))), _name(vehicle, k)


def _two(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    a, b = (int(k) for k in rng.choice(series_parts(vehicle), 2, replace=False))
    bad = vehicle.changed(a, lossy_ohm(vehicle, rng)).changed(b, lossy_ohm(vehicle, rng))
    return bad, _name(vehicle, a) | _name(vehicle, b)


def _flickers(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    k = int(rng.choice([k for k in range(1, len(vehicle.ohm)) if vehicle.drawn.kind(k) not in ("fuse", "resistor")]))
    return replace(vehicle, flickers=k, good_share=float(rng.uniform(0.3, 0.7))), _name(vehicle, k)


def _needs_heat(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    made, right = _flickers(vehicle, rng)
    return replace(made, good_share=0.97, heat=True), right


def _unlisted(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    wires = [k for k in range(1, len(vehicle.ohm)) if vehicle.drawn.kind(k) == "wire"]
    k = int(rng.choice(wires or [vehicle.drawn.load - 1]))
    ohm = math.inf if rng.random() < 0.4 else lossy_ohm(vehicle, rng)
    return vehicle.changed(k, ohm), _name(vehicle, k)


def _branch_short(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    made, right = _fuse(vehicle, rng)
    return replace(made, blows=True, branch_ohm=float(rng.uniform(0.05, 0.5))), right | {OUTSIDE}


def _drain(vehicle: Vehicle, rng: np.random.Generator) -> Made:
    return replace(vehicle, branch_ohm=float(rng.uniform(15, 60))), frozenset({"healthy", OUTSIDE})


def _never_primes(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if "prime" not in vehicle.drawn.active:
        return None
    coil_v = {**vehicle.coil_v, "key_on": 0.0, "prime": 0.0}
    make = (_open, _resistive, _relay, _command, _fuse, _open_load)[
        int(rng.choice(6, p=(0.2, 0.3, 0.15, 0.1, 0.1, 0.15)))
    ]
    return make(replace(vehicle, coil_v=coil_v), rng)


def _ballast(vehicle: Vehicle, rng: np.random.Generator) -> Made | None:
    if "speed_unit" not in [part[0] for part in vehicle.drawn.parts]:
        return None
    return _resistive(replace(vehicle, bypass="crank" in vehicle.drawn.active), rng)


FAULTS = {
    "open": Fault("open connection, wire, ground or switch", _open),
    "resistive": Fault("too much resistance in one of them", _resistive),
    "relay": Fault("relay dead or its contact burnt", _relay),
    "command": Fault("command missing (driver, immobiliser, crank signal)", _command),
    "start contact": Fault("command at key-on, missing in crank", _only("key_on", "prime", "run")),
    "run contact": Fault("command in crank, missing at key-on and run", _only("crank")),
    "weak command": Fault("weak command (coil gets 3 to 6 V)", _weak_command),
    "lazy battery": Fault("lazy battery (full at rest, gives way in crank)", _lazy_battery),
    "discharged": Fault("battery discharged", _discharged),
    "fuse": Fault("fuse blown, a new one holds", _fuse),
    "welded": Fault("welded relay", _welded),
    "fed elsewhere": Fault("feed from elsewhere past the relay (any wire of the run)", _fed_elsewhere),
    "short": Fault("short that blows each new fuse (any wire of the run)", _short),
    "wrong fuse": Fault("fuse of too small a size, blows again", _wrong_fuse, "only the number printed on it tells"),
    "tight": Fault("motor tight (draws too much)", _tight),
    "idle": Fault("motor draws too little", _idle),
    "seized": Fault("motor seized", _seized),
    "open load": Fault("load open, or on a dead spot", _open_load),
    "wet plug": Fault("wet plug: leaks and loses voltage", _wet_plug),
    "shared ground": Fault("bad ground shared with another load", _shared_ground),
    "two": Fault("two faults at once (either is right)", _two),
    "comes and goes": Fault("contact that comes and goes", _flickers),
    "needs heat": Fault(
        "fault that needs heat or time",
        _needs_heat,
        "cold, it is a sound circuit: only heat shows it, where the driver tells of it",
    ),
    "unlisted": Fault("connector that the file does not list (its stretch is right)", _unlisted),
    "branch short": Fault("another branch of the fuse is shorted", _branch_short),
    "drain": Fault("parasitic drain by another branch (not this circuit)", _drain),
    "never primes": Fault("never primes, with a fault", _never_primes),
    "ballast": Fault("speed unit bridged in crank, with a fault", _ballast),
}
"""Every class by its short name."""
