"""Draws a circuit's chain in plain characters: its parts in order, what closes them, and where a probe reaches."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import Part, Point
from meterlog.text.figures import shown

_KIND_WORDS = {"relay_contact": "relay contact"}


def chain_lines(circuit: Circuit) -> list[str]:
    """Draw one line a part and a point, battery + at the top; points behind `o`, with the minutes to reach them.

    A branch is drawn beside the chain where it leaves it, and ends with the part behind which it joins again.
    """
    load = circuit.parts[circuit.load]
    on = ", ".join(state.replace("_", " ") for state in circuit.active)
    amps = shown(circuit.load_a, "A")
    lines = [f"{circuit.name}: {circuit.system_v:g} V, {amps} for {load.id}; on at {on}", ""]
    return [*lines, *_drawn(circuit, circuit.chain, "  "), "  - back to the battery"]


def _drawn(circuit: Circuit, inside: range, margin: str) -> list[str]:
    """Draw some parts in series, each branch where it leaves them."""
    width = max(len(circuit.parts[k].id) for k in inside) + 2
    lines = []
    for k in inside:
        part = circuit.parts[k]
        mark = "+" if k == 0 else "*" if k in circuit.loads else "|"
        lines.append(f"{margin}{mark} {part.id:<{width}}{part_words(part)}".rstrip())
        lines += [f"{margin}|   o {_point_words(point)}" for point in circuit.points if point.after == part.id]
        for branch, beside in zip(circuit.branches, circuit.branch_positions, strict=True):
            if branch.after == part.id:
                lines.append(f"{margin}|-. branch {branch.id}")
                lines += _drawn(circuit, beside, f"{margin}| ")
                lines.append(f"{margin}| '- joins again behind {branch.to}")
    return lines


def chain_line(circuit: Circuit) -> str:
    """Name the parts in one line, what closes one in brackets: `battery - relay (relay_coil) - pump - body`."""
    return _line(circuit.parts[k] for k in circuit.chain)


def branch_lines(circuit: Circuit) -> list[str]:
    """Name each branch's parts in a line, as `chain_line`: `right: from splice: right_wire - right_lamp, to body`."""
    return [
        f"{branch.id}: from {branch.after}: {_line(circuit.parts[k] for k in inside)}, to {branch.to}"
        for branch, inside in zip(circuit.branches, circuit.branch_positions, strict=True)
    ]


def branch_heads(circuit: Circuit) -> dict[int, str]:
    """Return what is said above a branch's first part, by that part's position: `branch right: from wire, to body`."""
    return {
        inside[0]: f"branch {branch.id}: from {branch.after}, to {branch.to}"
        for branch, inside in zip(circuit.branches, circuit.branch_positions, strict=True)
    }


def _line(parts: Iterable[Part]) -> str:
    return " - ".join(f"{part.id} ({part.command})" if part.command else part.id for part in parts)


def part_words(part: Part) -> str:
    """Say what a part is: `fuse 15 A`, `relay contact, closed by relay_coil, 30-87`, `wire, violet, 1.5 mm2, 4 m`."""
    kind = _KIND_WORDS.get(part.kind, part.kind)
    words = [
        f"{kind} {shown(part.rating_a, 'A')}" if part.rating_a else kind,
        f"closed by {part.command}" if part.command else "",
        f"closed at {_listed(part.closed_in)}" if part.closed_in else "",
        _marks(part),
        f"{part.gauge_mm2:g} mm2" if part.gauge_mm2 else "",
        f"{part.length_m:g} m" if part.length_m else "",
        f"draws {shown(part.current_a, 'A')}" if part.current_a else "",
        shown(part.resistance_ohm, "ohm") if part.resistance_ohm is not None else "",
        "its loss is meant" if part.by_design else "",
    ]
    return ", ".join(word for word in words if word)


def _listed(words: Iterable[str]) -> str:
    return " and ".join(word.replace("_", " ") for word in words)


def _point_words(point: Point) -> str:
    marks = _marks(point)
    return f"{point.id}{f' ({marks})' if marks else ''}, {point.access_min:g} min"


def _marks(thing: Part | Point) -> str:
    connector = f"connector {thing.connector}" if thing.connector else ""
    return ", ".join(word for word in (thing.colour, connector, thing.pins) if word)
