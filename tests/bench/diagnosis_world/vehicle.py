"""One vehicle: what each of its parts really is, and what its network gives in a state."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from tests.bench.diagnosis_world.circuits import Drawn
from tests.bench.diagnosis_world.network import Network

GOOD_OHM = {"connector": 0.003, "fuse": 0.007, "switch": 0.01, "relay_contact": 0.006, "wire": 0.02, "ground": 0.003}
"""Usual resistance of a good part at 5 A, ohm. The bench's own guesses, scaled with the current."""
CRANK_OHM = 0.055
"""A starter that turns: 200 A at 11 V."""
PULL_IN_V, HOLDS_V = 6.8, 3.5
"""A relay pulls in, and a solenoid too, from the first on; one that is in at key-on stays so down to the second, V."""
WORKS_V, SLOW_V = 8.0, 4.5
"""From here on a person says that the load runs; behind a speed unit it runs slowly by design."""
BODY = "body"
Shunt = tuple[int, int, float]


@dataclass(frozen=True)
class Vehicle:
    """Holds what nobody knows.

    Attributes:
        drawn: its circuit, as the file has it.
        ohm: each part's series resistance, ohm, shape (n,); the battery's place is not used.
        emf_v, inside_ohm, run_v: the battery at rest, its inside, the posts with the engine running.
        load_a, winding_ohm, curve: the load at 12 V, at rest, and the exponent of its current over voltage.
        stalled: it stands still.
        coil_v: share of the posts' voltage at the coil by state.
        welded: the contact is always closed.
        feed: (node, ohm) that is fed from the battery past the contact; None.
        leak: (node, ohm) to the body, always there; None.
        blows: a new fuse blows.
        neighbour: (node, ohm) of another load that returns through the same ground; None.
        branch_ohm: another load on the same fuse, ohm; inf for none.
        flickers, good_share: a part that is open at times, and the share of the time that it is not; -1.
        heat: it flickers so only when warm.
        film: parts that read good on ohms though they lose voltage.
        bypass: the speed unit is bridged while cranking.
        lead_ohm: the meter's leads.
    """

    drawn: Drawn
    ohm: np.ndarray
    emf_v: float
    inside_ohm: float
    run_v: float
    load_a: float
    winding_ohm: float
    curve: float
    coil_v: dict[str, float]
    lead_ohm: float
    meter_ohm: float
    stalled: bool = False
    welded: bool = False
    feed: tuple[int, float] | None = None
    leak: tuple[int, float] | None = None
    blows: bool = False
    neighbour: tuple[int, float] | None = None
    branch_ohm: float = math.inf
    flickers: int = -1
    good_share: float = 0.5
    heat: bool = False
    film: frozenset[int] = field(default_factory=frozenset)
    bypass: bool = False

    def changed(self, k: int, ohm: float) -> Vehicle:
        """The same with more resistance in one part."""
        values = self.ohm.copy()
        values[k] += ohm
        return replace(self, ohm=values)

    def draws(self, volts: float) -> float:
        """The load's current at a voltage across it, A."""
        if volts <= 0:
            return volts / self.winding_ohm
        still = volts / self.winding_ohm
        return still if self.stalled else min(still, self.load_a * (volts / 12) ** self.curve)


def closed(vehicle: Vehicle, state: str, posts_v: float) -> bool:
    """Tell whether the contact or hand switch of the circuit is closed in a state."""
    if vehicle.welded:
        return True
    if not vehicle.drawn.relay:
        return state in vehicle.drawn.active
    before = "key_on" if "key_on" in vehicle.drawn.active else "crank"  # the starter loads the battery a moment later
    held = state == "crank" and vehicle.coil_v.get(before, 0.0) * vehicle.emf_v >= PULL_IN_V
    return vehicle.coil_v.get(state, 0.0) * posts_v >= (HOLDS_V if held else PULL_IN_V)


def solved(
    vehicle: Vehicle, state: str, apart: str, shunts: tuple[Shunt, ...], rng: np.random.Generator
) -> tuple[Network, np.ndarray]:
    """Solve the network in a state; `apart` is how the load is connected."""
    if state != "crank":
        return _solve(vehicle, state, apart, shunts, turns=False, rng=rng)[:2]
    if vehicle.drawn.active == ("crank",):
        network, volts, load_v = _solve(vehicle, state, apart, shunts, turns=False, rng=rng)
        if apart != "connected" or load_v < PULL_IN_V:
            return network, volts  # the solenoid does not pull in: the engine stands
    return _solve(vehicle, state, apart, shunts, turns=True, rng=rng)[:2]


def _solve(
    vehicle: Vehicle, state: str, apart: str, shunts: tuple[Shunt, ...], turns: bool, rng: np.random.Generator
) -> tuple[Network, np.ndarray, float]:
    drawn = vehicle.drawn
    n, load = len(drawn.parts), drawn.load
    network = Network(n + 1, n - 1)
    running = state == "run"
    emf_v = (vehicle.run_v if running else vehicle.emf_v) + rng.normal(0, 0.03)
    inside = 0.01 if running else vehicle.inside_ohm
    network.add("source", n - 1, 0, inside, emf_v)
    if turns:
        network.add("starter", 0, n - 1, CRANK_OHM)
    posts = network.voltages()[0]
    ohm = vehicle.ohm.copy()
    if not closed(vehicle, state, float(posts)):
        ohm[drawn.index(drawn.relay) if drawn.relay else drawn.last("switch")] = math.inf
    if vehicle.bypass and turns:
        ohm[drawn.index("speed_unit")] = 0.01
    if vehicle.flickers >= 0 and rng.random() > vehicle.good_share:
        ohm[vehicle.flickers] = math.inf
    if apart != "connected":
        ohm[list(drawn.plug)] = math.inf
    _chain(network, vehicle, ohm)
    for a, b, value in shunts:
        network.add("shunt", a, b, value)
    volts, _ = network.with_load(n, load, vehicle.draws)
    return network, volts, float(volts[n] - volts[load])


def _chain(network: Network, vehicle: Vehicle, ohm: np.ndarray) -> None:
    """Everything but the source, the starter and the load itself (from node n to the node after it)."""
    drawn = vehicle.drawn
    n = len(drawn.parts)
    body = drawn.node(BODY)
    for k in range(1, n):
        network.add(drawn.parts[k][0], k - 1, n if k == drawn.load else k, float(ohm[k]))
    if vehicle.feed:
        network.add("feed", 0, *vehicle.feed)
    if vehicle.leak:
        network.add("leak", vehicle.leak[0], body, vehicle.leak[1])
    if vehicle.neighbour:
        network.add("neighbour", 0, *vehicle.neighbour)
    network.add("branch", drawn.last("fuse"), body, vehicle.branch_ohm)


def ohms(vehicle: Vehicle, a: int, b: int, apart: str, rng: np.random.Generator) -> float:
    """The resistance between two nodes with the battery off, the contact at rest and hand switches on, ohm."""
    drawn = vehicle.drawn
    n, load = len(drawn.parts), drawn.load
    network = Network(n + 1, b)
    ohm = vehicle.ohm.copy()
    for k in vehicle.film:
        ohm[k] = min(ohm[k], 0.02)
    if drawn.relay and not vehicle.welded:
        ohm[drawn.index(drawn.relay)] = math.inf
    if vehicle.flickers >= 0 and rng.random() > vehicle.good_share:
        ohm[vehicle.flickers] = math.inf
    if apart != "connected":
        if (a, b) == (drawn.plug[0] - 1, max(drawn.plug[-1], load)):
            # the load's own two contacts; a starter's second one is its case
            return vehicle.winding_ohm + float(ohm[load])
        ohm[list(drawn.plug)] = math.inf
    _chain(network, replace(vehicle, neighbour=None), ohm)
    network.add("load", n, load, vehicle.winding_ohm)
    volts = network.voltages({a: 1e-3})
    return float(volts[a] - volts[b]) / 1e-3


def works(vehicle: Vehicle, rng: np.random.Generator) -> bool:
    """Tell whether the load does its work in the state in which it is used."""
    drawn = vehicle.drawn
    state = "run" if "run" in drawn.active else drawn.active[-1]
    network, volts = solved(vehicle, state, "connected", (), rng)
    n = len(drawn.parts)
    slow = "speed_unit" in [part[0] for part in drawn.parts]
    enough = volts[n] - volts[drawn.load] > (SLOW_V if slow else WORKS_V)
    return bool(enough) and not vehicle.stalled and network.amps(drawn.parts[drawn.load][0], volts) > 0
