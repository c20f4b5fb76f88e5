"""Draws a circuit's chain in plain characters: its parts in order, what closes them, and where a probe reaches."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable, Iterator

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import Part, Point
from meterlog.text.figures import shown
from meterlog.text.ids import plain

_KIND_WORDS = {"relay_contact": "relay contact", "battery": "source"}
_STATE_WORDS = {"off": "key off"}
_LEGEND = "o: a probe reaches there, in so many minutes; *: what is fed"
_HANG = "    "
_HOLDS, _HELD = re.compile(r"(?<=\d) (?=[^\W\d])"), "\N{NO-BREAK SPACE}"
"""A figure and its unit stay in one line."""


def chain_lines(circuit: Circuit) -> list[str]:
    """Draw one line a part and a point, battery + at the top; points behind `o`, with the minutes to reach them.

    A branch is drawn beside the chain where it leaves it, and ends with the part behind which it joins again.
    """
    load, source = circuit.parts[circuit.load], circuit.parts[0]
    amps = shown(circuit.load_a, "A")
    head = (
        f"{circuit.name}: a {circuit.system_v:g} V circuit, {load.id} {'takes' if circuit.charges else 'draws'} {amps}"
    )
    lines = [head, f"switched on at {_listed(circuit.active)}", _LEGEND, ""]
    return [*lines, *_drawn(circuit, circuit.chain, "  "), f"  - back to {source.id}"]


def fitted(lines: Iterable[str], width: int) -> Iterator[str]:
    """Break drawn lines at words to fit a width; the rails beside what hangs over go on."""
    for line in lines:
        rails = line[: len(line) - len(line.lstrip(" |+*"))]
        hanging = rails.replace("+", "|").replace("*", "|") + _HANG
        held = _HOLDS.sub(_HELD, line)
        broken = textwrap.wrap(held, width, subsequent_indent=hanging, break_long_words=False, break_on_hyphens=False)
        yield from (one.replace(_HELD, " ") for one in broken or [""])


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
                lines.append(f"{margin}| '- {_joins(circuit, branch)}")
    return lines


def _joins(circuit: Circuit, branch: Branch) -> str:
    """Say between which two parts a branch joins again."""
    k = circuit.part_index[branch.to]
    if circuit.after[k] == circuit.minus:
        return f"back to {circuit.parts[0].id}"
    before = [part.id for place, part in enumerate(circuit.parts) if circuit.before[place] == circuit.after[k]]
    return f"joins again behind {branch.to}, before {before[0]}"


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
        f"when wet, leaks to {part.leaks_to}" if part.leaks_to else "",
    ]
    return ", ".join(word for word in words if word)


def _listed(words: Iterable[str]) -> str:
    *rest, last = (_STATE_WORDS.get(word, plain(word)) for word in words)
    return f"{', '.join(rest)} and {last}" if rest else last


def _point_words(point: Point) -> str:
    marks = _marks(point)
    return f"{point.id}{f' ({marks})' if marks else ''}, {point.access_min:g} min"


def _marks(thing: Part | Point) -> str:
    connector = f"connector {thing.connector}" if thing.connector else ""
    return ", ".join(word for word in (thing.colour, connector, thing.pins) if word)
