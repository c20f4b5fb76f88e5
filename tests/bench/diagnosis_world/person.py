"""The two plain orders: a careful person with a meter, a wiring diagram and a rule, who stops when the rule speaks.

The rule: half a volt lost since the last point is that part, 0.3 V on the ground side; where the relay gives nothing,
the volts at its coil; where all volts are good, the current, and then the load.
"""

from __future__ import annotations

from tests.bench.diagnosis_world.meter import MOST_IN_SERIES_A
from tests.bench.diagnosis_world.search import Bench

LOST_V, GROUND_V = 0.5, 0.3
REST_LOW_V, CRANK_LOW_V = 11.8, 9.0
COIL_V = 8.0
SHORT_OHM = 2.0
LITTLE, MUCH = 0.65, 1.4
"""Of the stated current: a load that draws less or more is not a good one."""


def from_battery_on(bench: Bench) -> str:
    """Volts at every point from the battery on."""
    state = _state(bench)
    if isinstance(state, tuple):
        return state[0]
    drawn = bench.vehicle.drawn
    source_v = last_v = bench.take("voltage", drawn.point(0), "battery_minus", state)
    if source_v < (CRANK_LOW_V if state == "crank" else REST_LOW_V):
        return drawn.parts[0][0]
    for k in range(1, drawn.load):
        volts = bench.take("voltage", drawn.point(k), "battery_minus", state)
        if last_v - volts >= LOST_V and drawn.kind(k) != "resistor":
            return _named(bench, k, volts, state)
        last_v = volts
    return _ground_side(bench, state)


def half_split(bench: Bench) -> str:
    """Volts at the point in the middle of what is still suspect; then as above."""
    state = _state(bench)
    if isinstance(state, tuple):
        return state[0]
    drawn = bench.vehicle.drawn
    source_v = bench.take("voltage", drawn.point(0), "battery_minus", state)
    if source_v < (CRANK_LOW_V if state == "crank" else REST_LOW_V):
        return drawn.parts[0][0]
    unit = next((k for k in range(1, drawn.load) if drawn.kind(k) == "resistor"), 0)
    low, high = 0, drawn.load - 1
    lost = {0: source_v}
    lost[high] = bench.take("voltage", drawn.point(high), "battery_minus", state)
    if source_v - lost[high] < LOST_V:
        return _ground_side(bench, state)
    while high - low > 1:
        middle = (low + high) // 2
        lost[middle] = bench.take("voltage", drawn.point(middle), "battery_minus", state)
        good = lost[low] - lost[middle] < LOST_V
        low, high = (middle, high) if good else (low, middle)
    if high == unit:
        return _ground_side(bench, state)
    return _named(bench, high, lost[high], state)


def _state(bench: Bench) -> str | tuple[str]:
    """The state to measure in: key-on, or cranking where the coil is fed only then; an answer where it never is."""
    drawn = bench.vehicle.drawn
    if "key_on" in drawn.active and (not drawn.relay or "prime" not in drawn.active):
        return "key_on"
    if "key_on" not in drawn.active:
        return "crank"
    if bench.take("voltage", drawn.relay + "_coil", "battery_minus", "key_on") >= COIL_V:
        return "key_on"
    if bench.take("voltage", drawn.relay + "_coil", "battery_minus", "crank") >= COIL_V:
        return "crank"
    return (drawn.coil,)


def _named(bench: Bench, k: int, volts: float, state: str) -> str:
    """The part that lost it, once its own question is asked."""
    drawn = bench.vehicle.drawn
    if drawn.kind(k) == "relay_contact" and volts < 1.0:
        coil_v = bench.take("voltage", drawn.coil, "battery_minus", state)
        return drawn.relay if coil_v >= COIL_V else drawn.coil
    if drawn.kind(k) == "fuse" and volts < 1.0 and bench.replace_fuse() == "blew":
        feed = drawn.plug[0] - 1
        ohm = bench.take("resistance", drawn.point(feed), "battery_minus", "isolated", "unplugged")
        if ohm < SHORT_OHM:
            return next(drawn.parts[k][0] for k in range(drawn.load, 0, -1) if drawn.kind(k) == "wire")
        return drawn.parts[drawn.load][0]
    return drawn.parts[k][0]


def _ground_side(bench: Bench, state: str) -> str:
    """The ground side from the load on; then the current."""
    drawn = bench.vehicle.drawn
    n = len(drawn.parts)
    last_v = bench.take("voltage", drawn.point(drawn.load), "battery_minus", state)
    if last_v >= GROUND_V:
        for k in range(drawn.load + 1, n):
            volts = 0.0 if k == n - 1 else bench.take("voltage", drawn.point(k), "battery_minus", state)
            if last_v - volts >= GROUND_V:
                return drawn.parts[k][0]
            last_v = volts
    if drawn.load_a > MOST_IN_SERIES_A:
        return "healthy"
    amps = bench.take("current", drawn.parts[drawn.last("fuse")][0], "battery_minus", state)
    if amps < LITTLE * drawn.load_a or amps > MUCH * drawn.load_a:
        return drawn.parts[drawn.load][0]
    return "healthy"
