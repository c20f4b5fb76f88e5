"""The minutes to get at a place and to read there: who was at a place has it open, whatever it is called.

A part, the point right behind it and what closes it share a node: who was at one has only the rest of the way to the
other, as from the plug of a load to the load itself.
"""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.unplugged import positions

EXTRA_MIN = {"isolated": 4.0, "unplugged": 2.0, "lamp": 2.0, "current": 3.0, "crank": 2.0, "run": 1.0}
"""Minutes beyond getting at the place: isolating, unplugging, hanging a lamp, putting the meter in series, a helper at
the key, starting the engine; they stand for the risk too. Guesses."""
READ_MIN = 1.0
"""Minutes to take one reading where the place is already open. Guess."""


def minutes_for(circuit: Circuit, m: Measurement, measured: Iterable[Measurement]) -> float:
    """Estimate the minutes that a measurement takes: the harder of its two places to reach, and what its state asks."""
    taken = list(measured)
    access = max(reach_min(circuit, id_, taken) for id_ in _places(circuit, m))
    extra = sum(EXTRA_MIN.get(word, 0.0) for word in (m.state, m.load))
    extra += sum(unplug_min(circuit, k) for k in positions(circuit, m.unplugged))
    if m.quantity == "current":
        extra += EXTRA_MIN["current"]
    return READ_MIN + access + extra


def reach_min(circuit: Circuit, id_: str, measured: Iterable[Measurement]) -> float:
    """The minutes to get at a part, a point or what closes a contact; less those of the way that earlier readings in
    the same place took already."""
    opened = {place for m in measured for place in _places(circuit, m)} | {BATTERY_MINUS}
    place = _place(circuit, id_)
    if place in opened:
        return 0.0
    here = circuit.node(place)
    gone = max((_access(circuit, one) for one in opened if circuit.node(one) == here), default=0.0)
    return max(_access(circuit, place) - gone, 0.0)


def unplug_min(circuit: Circuit, load: int) -> float:
    """The minutes to get at a branch's load and unplug it."""
    return EXTRA_MIN["unplugged"] + min(circuit.parts[k].access_min for k in circuit.plug_of(load))


def _place(circuit: Circuit, id_: str) -> str:
    """Return where a place is reached: what closes a contact, where the contact is."""
    return circuit.parts[circuit.commands[id_]].id if id_ in circuit.commands else id_


def _places(circuit: Circuit, m: Measurement) -> list[str]:
    """The points that a measurement needs reached; a part alone is reached at the points on its two sides."""
    if m.at in circuit.commands:
        return [_place(circuit, m.at)]
    if m.quantity == "current" or m.at not in circuit.part_index:
        return [m.at, m.to]
    sides = circuit.across(circuit.part_index[m.at])
    return [point.id for point in circuit.points if circuit.node(point.id) in sides] or [m.at]


def _access(circuit: Circuit, id_: str) -> float:
    if id_ in circuit.point_of:
        return circuit.point_of[id_].access_min
    return circuit.parts[circuit.part_index[id_]].access_min if id_ in circuit.part_index else 0.0
