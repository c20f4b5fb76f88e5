"""Asks which plugs of a new circuit water may get into, and where the current leaks to then."""

from __future__ import annotations

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.cli.terminal.asking import Asking
from meterlog.text.ids import plain

_NONE = "none"


def ask_wet(circuit: Circuit, asking: Asking) -> dict[str, str]:
    """Return the place that water leads to, by the plug that may get wet; empty where there is none.

    Raises:
        EOFError: the answers ended.
    """
    plugs = [part.id for k, part in enumerate(circuit.parts) if part.kind == "connector" and _fed(circuit, k)]
    if not plugs:
        return {}
    asking.say(
        "Plugs that water can get into (under the car, in a door, at a lamp, at the trailer) leak from one contact to"
        " another: green crust, a fuse that blows in the rain, a load that works in the dry."
    )
    named = asking.several(f"Which of these may get wet ({plain(', '.join(plugs))}) [{_NONE}]", (*plugs, _NONE))
    return {id_: _leads_to(circuit, id_, asking) for id_ in named or () if id_ != _NONE}


def _fed(circuit: Circuit, k: int) -> bool:
    """Tell whether a connector carries the feed: its own side of battery + apart, where clamps sit in the dry."""
    return k > 1 and circuit.on_feed_side[k]


def _leads_to(circuit: Circuit, id_: str, asking: Asking) -> str:
    """The place that water in a plug leads to; usually the ground contact of the same plug."""
    k = circuit.part_index[id_]
    known = [point.id for point in circuit.points if circuit.node(point.id) not in circuit.across(k)]
    known += [] if BATTERY_MINUS in known else [BATTERY_MINUS]
    load = next((load for load in circuit.loads if k in circuit.plug_of(load)), None)
    face = circuit.faces_of(load) if load is not None else None
    usual = face[1] if face and face[1] in known else BATTERY_MINUS
    question = f"  wet, '{plain(id_)}' leaks to which place (the ground contact beside it, or battery minus)"
    return asking.one_of(question, known, usual)
