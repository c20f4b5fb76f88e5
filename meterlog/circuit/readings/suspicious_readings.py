"""Readings that are suspicious by themselves, whatever the fault, and what usually makes a meter show such a thing."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.measurement import Measurement

NOTHING = 0.05
"""Of the system voltage or the load's current: below it, as good as nothing. Guess."""
MOST_CHARGING = 16.0 / 12.0
"""Of the system voltage; no sound charging gives more. Makers' manuals: 15.1 V at -20 C is the most; some room."""
ALIVE = 0.5
"""Of the system voltage: from it on, a wire is fed. Guess."""
SLEEPING_A = 0.1
"""Currents below it may be modules that sleep. Guess."""


def suspicious(m: Measurement, circuit: Circuit) -> str:
    """The sentence about a reading; empty where it is nothing out of the ordinary."""
    if m.quantity == "current":
        return _suspicious_current(m, circuit)
    if m.quantity == "lamp":
        return _suspicious_lamp(m, circuit)
    if m.quantity != "voltage" or m.to != BATTERY_MINUS:
        return ""
    supply, nothing = circuit.system_v, NOTHING * circuit.system_v
    feed_side = m.at not in circuit.commands and circuit.on_feed_side[circuit.node(m.at)]
    if feed_side and m.value < -nothing:
        return f"{m}: the leads are crossed, or this is not the point it is said to be; turn them and measure again"
    if feed_side and m.value > MOST_CHARGING * supply:
        return (
            f"{m} is more than a healthy {supply:g} V system ever charges at: a jump start from another vehicle, a"
            " failed regulator, or a slip of the hand"
        )
    if feed_side and circuit.node(m.at) == 0 and abs(m.value) < nothing:
        return (
            f"{m} means no voltage at the supply itself: prove the meter, its leads and fuse on a good battery, and"
            " check the clamps, before you trust any other reading"
        )
    return ""


def stays_on(measured: Sequence[Measurement], circuit: Circuit) -> str:
    """That a circuit is live where its own switch should have opened it: with the key off; empty where none is.

    No single fault of the list explains it: all of them take something away.
    """
    if "off" in circuit.active:
        return ""
    for m in measured:
        contact = _contact_before(m, circuit)
        if m.state == "off" and contact and _fed(m, circuit):
            return (
                f"live with the key off, though {contact} should be open ({m}): a welded contact, a command that does"
                " not end, or a feed from elsewhere; some are held for minutes by design, so wait and measure again"
            )
    return ""


def _suspicious_current(m: Measurement, circuit: Circuit) -> str:
    if circuit.charges or m.value > -NOTHING * circuit.load_a:
        return ""
    return f"{m} flows backwards: the clamp or the leads are the wrong way round; turn them and measure again"


def _suspicious_lamp(m: Measurement, circuit: Circuit) -> str:
    dark_at_supply = m.at not in circuit.commands and circuit.node(m.at) == 0 and m.value < NOTHING
    if m.to != BATTERY_MINUS or not dark_at_supply:
        return ""
    return f"{m}: prove the lamp, its clip and its tip on a good battery before you trust any other of its readings"


def _fed(m: Measurement, circuit: Circuit) -> bool:
    if m.quantity == "current":
        return m.value > max(NOTHING * circuit.load_a, SLEEPING_A)
    to_ground = m.quantity in ("voltage", "lamp") and m.to == BATTERY_MINUS
    alive = ALIVE if m.quantity == "lamp" else ALIVE * circuit.system_v
    return to_ground and circuit.on_feed_side[circuit.node(m.at)] and m.value > alive


def _contact_before(m: Measurement, circuit: Circuit) -> str:
    """The last contact with a command before the place of a reading, by its id; empty where there is none, or where a
    way past all of them is left."""
    if m.at in circuit.commands:
        return ""
    contacts = set(circuit.commands.values())
    node = circuit.before[circuit.load] if m.quantity == "current" else circuit.node(m.at)
    left = circuit.joined({0, *circuit.loads, *contacts})
    passed = [k for k in (*circuit.upstream[node], node) if k in contacts]
    return circuit.parts[passed[-1]].id if passed and left[node] != left[0] else ""
