"""Names what is odd about a circuit that can be used: slips of whoever wrote it, and places that nobody can measure."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from meterlog.circuit.model.circuit import Circuit, Part
from meterlog.text.figures import shown

_LONGEST_REACH_MIN = 120.0
"""Minutes: whoever needs longer to a place takes something apart instead. A guess."""
_MOST_BETWEEN = 3
"""Parts between two places to measure: a fault in so many cannot be told apart any more. A choice."""
_WIRE_DROP_V = 0.5
"""A good wire of a 12 V circuit loses less at the load's current (trade press: 0.5 V for the whole feed side)."""
_UNFUSED_FROM_A = 100.0
"""Starters and glow plugs are fed without a fuse, or through a link that nobody calls one. A guess."""


def oddities(circuit: Circuit) -> list[str]:
    """One sentence each, most surprising first; empty where nothing is odd."""
    checks = (_grounds, _commands, _switching, _fuses, _wires, _reach, _across_the_load, _same_place, _hazards)
    return [sentence for check in checks for sentence in check(circuit)]


def _grounds(circuit: Circuit) -> Iterator[str]:
    load = circuit.parts[circuit.load].id
    for part in circuit.parts[: circuit.load]:
        if part.kind == "ground":
            yield f"ground '{part.id}' stands before '{load}': parts follow the current, grounds come after the load"
    if not circuit.charges and not any(part.kind in ("ground", "wire") for part in circuit.parts[circuit.load :]):
        yield f"nothing stands between '{load}' and the battery: its ground wire and ground point are left out"


def _commands(circuit: Circuit) -> Iterator[str]:
    for part in circuit.parts:
        if part.kind == "relay_contact" and not part.command:
            yield f"relay '{part.id}' has no 'command': whether its coil is energized cannot be asked for"


def _switching(circuit: Circuit) -> Iterator[str]:
    def switches(part: Part) -> bool:
        return part.kind in ("relay_contact", "switch") or bool(part.command)

    if not any(switches(part) for part in circuit.parts) and not circuit.charges and "off" not in circuit.active:
        yield "nothing switches it: a circuit that is always live has \"off\" in 'active'"
    for part in circuit.parts[circuit.load + 1 :]:
        if switches(part):
            yield f"'{part.id}' switches the ground side: while it is open the whole load stands at battery voltage"


def _fuses(circuit: Circuit) -> Iterator[str]:
    fuses = [part for part in circuit.parts[: circuit.load] if part.kind == "fuse"]
    if not fuses and circuit.load_a < _UNFUSED_FROM_A and not circuit.charges:
        yield "no fuse stands between battery and load: is it left out?"
    for fuse in fuses:
        if fuse.rating_a and fuse.rating_a <= circuit.load_a:
            rating, drawn = shown(fuse.rating_a, "A"), shown(circuit.load_a, "A")
            yield f"fuse '{fuse.id}' is rated {rating}, and the load draws {drawn}: one of the two is wrong"


def _wires(circuit: Circuit) -> Iterator[str]:
    for part in circuit.parts:
        if part.kind != "wire" or part.resistance_ohm is None:
            continue
        lost_v = part.resistance_ohm * circuit.load_a
        if lost_v > _WIRE_DROP_V * circuit.volts_scale:
            lost, drawn = shown(lost_v, "V"), shown(circuit.load_a, "A")
            yield f"wire '{part.id}' loses {lost} at {drawn} when good: is it that thin?"


def _reach(circuit: Circuit) -> Iterator[str]:
    for point in circuit.points:
        if point.access_min > _LONGEST_REACH_MIN:
            yield f"nobody reaches point '{point.id}' ({point.access_min:g} min): leave it out, or correct 'access_min'"
    count = len(circuit.parts)
    nodes = sorted({circuit.node(point.id) for point in circuit.points} | {count - 1})
    for low, high in pairwise([-1, *nodes]):
        between = [part.id for part in circuit.parts[low + 1 : high + 1] if part.kind != "battery"]
        if len(between) > _MOST_BETWEEN:
            yield f"no place to measure between {', '.join(between)}: a fault there cannot be told apart"


def _across_the_load(circuit: Circuit) -> Iterator[str]:
    nodes = {circuit.node(point.id) for point in circuit.points}
    if not any(node in nodes for node in range(1, circuit.load)):
        yield f"no point before '{circuit.parts[circuit.load].id}': the supply at the load cannot be measured"


def _same_place(circuit: Circuit) -> Iterator[str]:
    seen: dict[int, str] = {}
    for point in circuit.points:
        other = seen.setdefault(circuit.node(point.id), point.id)
        if other != point.id:
            yield f"points '{other}' and '{point.id}' are the same place: no part stands between them"


def _hazards(circuit: Circuit) -> Iterator[str]:
    unsaid = [part.id for part in circuit.parts if circuit.near_of([part.id]) is None]
    if unsaid:
        listed = ", ".join(unsaid[:3]) + (" ..." if len(unsaid) > 3 else "")
        yield f"nothing says what {listed} may be 'near': every caution is shown"
