"""Draws a circuit's chain in plain characters: its parts in order, what closes them, and where a probe reaches."""

from __future__ import annotations

from meterlog.circuit.model.circuit import Circuit, Part, Point
from meterlog.text.figures import shown

_KIND_WORDS = {"relay_contact": "relay contact"}


def chain_lines(circuit: Circuit) -> list[str]:
    """Draw one line a part and a point, battery + at the top; points behind `o`, with the minutes to reach them."""
    load = circuit.parts[circuit.load]
    on = ", ".join(state.replace("_", " ") for state in circuit.active)
    lines = [f"{circuit.name}: {circuit.system_v:g} V, {shown(circuit.load_a, 'A')} for {load.id}; on at {on}", ""]
    width = max(len(part.id) for part in circuit.parts) + 2
    for k, part in enumerate(circuit.parts):
        mark = "+" if k == 0 else "*" if k == circuit.load else "|"
        lines.append(f"  {mark} {part.id:<{width}}{part_words(part)}".rstrip())
        lines += [f"  |   o {_point_words(point)}" for point in circuit.points if point.after == part.id]
    return [*lines, "  - back to the battery"]


def chain_line(circuit: Circuit) -> str:
    """Name the parts in one line, what closes one in brackets: `battery - relay (relay_coil) - pump - body`."""
    return " - ".join(f"{part.id} ({part.command})" if part.command else part.id for part in circuit.parts)


def part_words(part: Part) -> str:
    """Say what a part is: `fuse 15 A`, `relay contact, closed by relay_coil, 30-87`, `wire, violet, 1.5 mm2, 4 m`."""
    kind = _KIND_WORDS.get(part.kind, part.kind)
    words = [
        f"{kind} {shown(part.rating_a, 'A')}" if part.rating_a else kind,
        f"closed by {part.command}" if part.command else "",
        _marks(part),
        f"{part.gauge_mm2:g} mm2" if part.gauge_mm2 else "",
        f"{part.length_m:g} m" if part.length_m else "",
        f"draws {shown(part.current_a, 'A')}" if part.current_a else "",
        shown(part.resistance_ohm, "ohm") if part.resistance_ohm is not None else "",
        "its loss is meant" if part.by_design else "",
    ]
    return ", ".join(word for word in words if word)


def _point_words(point: Point) -> str:
    marks = _marks(point)
    return f"{point.id}{f' ({marks})' if marks else ''}, {point.access_min:g} min"


def _marks(thing: Part | Point) -> str:
    connector = f"connector {thing.connector}" if thing.connector else ""
    return ", ".join(word for word in (thing.colour, connector, thing.pins) if word)
