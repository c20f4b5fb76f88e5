"""Names what is odd about a circuit that can be used: slips of whoever wrote it, and places that nobody can measure."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import Part
from meterlog.circuit.model.solve import load_model, solve
from meterlog.text.figures import shown
from meterlog.text.ids import plain

_LONGEST_REACH_MIN = 120.0
"""Minutes: whoever needs longer to a place takes something apart instead. A guess."""
_MOST_BETWEEN = 3
"""Parts between two places to measure: a fault in so many cannot be told apart any more. A choice."""
_WIRE_DROP_V = 0.5
"""A good wire of a 12 V circuit loses less at the load's current (trade press: 0.5 V for the whole feed side)."""
_FED_SHARE = 0.02
"""Of its current, below which a load gets nothing. A choice."""
_UNFUSED_FROM_A = 100.0
"""Starters and glow plugs are fed without a fuse, or through a link that nobody calls one. A guess."""


def oddities(circuit: Circuit) -> list[str]:
    """One sentence each, most surprising first; empty where nothing is odd."""
    checks = (
        *(_grounds, _directions, _fed, _commands, _switching, _bypasses, _fuses, _wires, _reach),
        *(_across_the_load, _same_place, _leaks, _hazards),
    )
    return [sentence for check in checks for sentence in check(circuit)]


def _grounds(circuit: Circuit) -> Iterator[str]:
    load = circuit.parts[circuit.load].id
    for k, part in enumerate(circuit.parts):
        if part.kind == "ground" and circuit.on_feed_side[k]:
            yield f"ground '{part.id}' stands before '{load}': parts follow the current, grounds come after the load"
    behind = circuit.parts[circuit.load : len(circuit.chain)]
    if not circuit.charges and not any(part.kind in ("ground", "wire") for part in behind):
        yield f"nothing stands between '{load}' and the battery: its ground wire and ground point are left out"


def _directions(circuit: Circuit) -> Iterator[str]:
    for branch in circuit.branches:
        leaves, joins = (circuit.part_index[end] for end in (branch.after, branch.to))
        against = circuit.on_feed_side[joins] and not circuit.on_feed_side[leaves]
        if against or (max(leaves, joins) in circuit.chain and joins < leaves):
            yield f"branch '{branch.id}' runs against the current: exchange 'after' and 'to', and turn its parts round"


def _fed(circuit: Circuit) -> Iterator[str]:
    """States in which the circuit is on, and a contact of the key leaves the load without a feed."""
    for state in circuit.active:
        ohm = circuit.healthy_ohm()
        for k, part in enumerate(circuit.parts):
            if not part.closed(state):
                ohm[k] = np.inf
        fed_a = float(solve(circuit, ohm, circuit.system_v, load_model(circuit)).load_a)
        if not circuit.charges and fed_a < _FED_SHARE * circuit.load_a:
            contacts = " and ".join(f"'{part.id}'" for part in circuit.parts if not part.closed(state))
            load = circuit.parts[circuit.load].id
            yield f"nothing feeds '{load}' at {plain(state)}, though the circuit is on: {contacts} is open then"
    for part in circuit.parts:
        for state in part.closed_in or ():
            if state not in circuit.active:
                yield f"'{part.id}' is closed at {plain(state)}, which 'active' does not name"


def _commands(circuit: Circuit) -> Iterator[str]:
    for part in circuit.parts:
        if part.kind == "relay_contact" and not part.command:
            yield f"relay '{part.id}' has no 'command': whether its coil is energized cannot be asked for"


def _switches(part: Part) -> bool:
    return part.kind in ("relay_contact", "switch") or bool(part.command)


def _switching(circuit: Circuit) -> Iterator[str]:
    if not any(_switches(part) for part in circuit.parts) and not circuit.charges and "off" not in circuit.active:
        yield "nothing switches it: a circuit that is always live has \"off\" in 'active'"
    for k, part in enumerate(circuit.parts):
        if _switches(part) and not circuit.on_feed_side[k] and k not in circuit.loads:
            yield f"'{part.id}' switches the ground side: while it is open the whole load stands at battery voltage"


def _bypasses(circuit: Circuit) -> Iterator[str]:
    for branch, inside, load in zip(circuit.branches, circuit.branch_positions, circuit.branch_loads, strict=True):
        if load is None and not any(_switches(circuit.parts[k]) for k in inside):
            yield f"branch '{branch.id}' has neither a load nor a contact: what it passes never carries its current"


def _fuses(circuit: Circuit) -> Iterator[str]:
    for load in circuit.loads:
        fused = any(circuit.parts[k].kind == "fuse" for k in circuit.upstream[load])
        if not fused and circuit.own_a(load) < _UNFUSED_FROM_A and not circuit.charges:
            what = "load" if load == circuit.load else f"'{circuit.parts[load].id}'"
            yield f"no fuse stands between battery and {what}: is it left out?"
    for k, fuse in enumerate(circuit.parts):
        if fuse.rating_a and fuse.rating_a <= circuit.carried_a[k]:
            rating, drawn = shown(fuse.rating_a, "A"), shown(float(circuit.carried_a[k]), "A")
            loads = "the load draws" if circuit.carried_a[k] == circuit.load_a else "its loads draw"
            yield f"fuse '{fuse.id}' is rated {rating}, and {loads} {drawn}: one of the two is wrong"


def _wires(circuit: Circuit) -> Iterator[str]:
    for k, part in enumerate(circuit.parts):
        if part.kind != "wire" or part.resistance_ohm is None:
            continue
        amps = float(circuit.carried_a[k])
        if part.resistance_ohm * amps > _WIRE_DROP_V * circuit.volts_scale:
            lost, drawn = shown(part.resistance_ohm * amps, "V"), shown(amps, "A")
            yield f"wire '{part.id}' loses {lost} at {drawn} when good: is it that thin?"


def _reach(circuit: Circuit) -> Iterator[str]:
    for point in circuit.points:
        if point.access_min > _LONGEST_REACH_MIN:
            yield f"nobody reaches point '{point.id}' ({point.access_min:g} min): leave it out, or correct 'access_min'"
    reached = {circuit.node(point.id) for point in circuit.points} | {circuit.minus}
    for inside in (circuit.chain, *circuit.branch_positions):
        between: list[str] = []
        for k in inside:
            between += [circuit.parts[k].id] if k else []
            if circuit.after[k] in reached or k == inside[-1]:
                if len(between) > _MOST_BETWEEN:
                    yield f"no place to measure between {', '.join(between)}: a fault there cannot be told apart"
                between = []


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


def _leaks(circuit: Circuit) -> Iterator[str]:
    for k, part in enumerate(circuit.parts):
        if not part.leaks_to:
            continue
        node = circuit.node(part.leaks_to)
        other = circuit.point_of.get(part.leaks_to)
        if part.connector and other is not None and other.connector and part.connector != other.connector:
            places = f"'{part.id}' is in {part.connector}, '{other.id}' in {other.connector}"
            yield f"{places}: water leads from contact to contact of one connector"
        if circuit.on_feed_side[node] == circuit.on_feed_side[circuit.before[k]] and node != 0:
            yield f"'{part.id}' leaks to '{part.leaks_to}' on its own side of the load: no reading would show that"
        if circuit.before[k] not in {circuit.node(point.id) for point in circuit.points}:
            yield f"no place to measure before '{part.id}': whether it leaks cannot be told"


def _hazards(circuit: Circuit) -> Iterator[str]:
    unsaid = [part.id for part in circuit.parts if circuit.near_of([part.id]) is None]
    if unsaid:
        listed = ", ".join(unsaid[:3]) + (" ..." if len(unsaid) > 3 else "")
        yield f"nothing says what {listed} may be 'near': every caution is shown"
