"""Draws where the two probes go: the chain of parts as a line that winds from battery + to battery -. Pure."""

from __future__ import annotations

import textwrap
from collections.abc import Collection
from html import escape
from urllib.parse import quote

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.readings.measurement import Measurement
from meterlog.text.ids import plain

_ACROSS = 5
"""Parts in a row: as many as can be read at the width of a phone. By eye."""
_BOX, _GAP, _HIGH, _ROW, _TOP = 64, 18, 32, 62, 4
_LETTERS, _LINES = 10, 2
_LOOK = """<style>text{font:11px system-ui,sans-serif;fill:#14181c;text-anchor:middle}
.part{fill:#f2f4f6;stroke:#76808a;stroke-width:1.5}.wire{fill:none;stroke:#76808a;stroke-width:2.5}
.on .part,.on.part{stroke:#005a8c;stroke-width:3}.red{fill:#b3261e;stroke:#b3261e}.black{fill:#14181c;stroke:#14181c}
.lead{stroke-width:3;stroke-linecap:round}text.tag{fill:#fff;font-weight:700;font-size:11px;stroke:none}
@media (prefers-color-scheme:dark){text{fill:#f1f4f6}.part{fill:#1e242a;stroke:#78838e}.wire{stroke:#78838e}
.on .part,.on.part{stroke:#6cc3f5}.red{fill:#ff8a80;stroke:#ff8a80}.black{fill:#000;stroke:#f1f4f6}
text.red{fill:#2b0503}}</style>"""

Spot = tuple[float, float]


def probes(circuit: Circuit, m: Measurement) -> tuple[int, int]:
    """The nodes of the red and the black probe; for a part's coil both are the node before it."""
    if m.at_coil or m.at in circuit.commands:
        before, _ = circuit.across(circuit.commands[m.at])
        return before, before
    if m.at in circuit.part_index and m.to in (m.at, ""):
        return circuit.across(circuit.part_index[m.at])
    if m.quantity == "current":
        return circuit.across(circuit.node(m.at))
    return circuit.node(m.at), circuit.node(m.to)


def probe_picture(circuit: Circuit, m: Measurement) -> str:
    """The drawing as an address of an image that needs no file; empty where no one way passes both probes."""
    svg = probe_svg(circuit, m)
    return f"data:image/svg+xml;utf8,{quote(svg)}" if svg else ""


def probe_svg(circuit: Circuit, m: Measurement) -> str:
    """The drawing as SVG: the chain, or the way through the branch where a probe is; empty where no one way passes
    both probes."""
    part = circuit.commands.get(m.at, circuit.part_index.get(m.at))
    way = _way(circuit, probes(circuit, m), part)
    if not way:
        return ""
    names = [*(plain(circuit.parts[k].id) for k in way), "battery −"]
    nodes = [circuit.after[k] for k in way]
    coil = way.index(circuit.commands[m.at]) if m.at in circuit.commands else None
    red, black = (nodes.index(node) for node in probes(circuit, m))
    on = {coil} if coil is not None else {max(red, black)} if abs(red - black) == 1 else set()
    rows = -(-len(names) // _ACROSS)
    width, height = _ACROSS * (_BOX + _GAP) + _GAP, _TOP + rows * _ROW
    boxes = [_box(place, name, place in on) for place, name in enumerate(names)]
    if coil is None:
        leads = [
            _probe(_node(k), colour, side, upright=_upright(k))
            for k, colour, side in ((red, "red", -1), (black, "black", 1))
        ]
    else:
        x, y = _middle(coil)
        leads = [_probe((x - 16, y + _HIGH / 2), "red", -1), _probe((x + 16, y + _HIGH / 2), "black", 1)]
    wire = " ".join(f"{x:g},{y:g}" for x, y in map(_middle, range(len(names))))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}">'
        f'{_LOOK}<polyline class="wire" points="{wire}"/>{"".join(boxes)}{"".join(leads)}</svg>'
    )


def _way(circuit: Circuit, nodes: Collection[int], part: int | None) -> tuple[int, ...]:
    """The parts from battery + round to battery - on a way that passes some nodes and a part; none where none does."""
    for k in (*circuit.chain[-1:], *(inside[-1] for inside in circuit.branch_positions)):
        way = (*circuit.upstream[k], k, *circuit.downstream[k])
        if {circuit.after[one] for one in way}.issuperset(nodes) and (part is None or part in way):
            return way
    return ()


def _middle(place: int) -> Spot:
    """The middle of a box; every second row runs back, so that the line winds."""
    row, column = divmod(place, _ACROSS)
    column = column if row % 2 == 0 else _ACROSS - 1 - column
    return _GAP + _BOX / 2 + column * (_BOX + _GAP), _TOP + _HIGH / 2 + row * _ROW


def _node(node: int) -> Spot:
    """The place of a node on the line: half-way between its two boxes."""
    (x0, y0), (x1, y1) = _middle(node), _middle(node + 1)
    return (x0 + x1) / 2, (y0 + y1) / 2


def _upright(node: int) -> bool:
    return (node + 1) % _ACROSS == 0


def _box(place: int, name: str, on: bool) -> str:
    x, y = _middle(place)
    lines = textwrap.wrap(name, _LETTERS, max_lines=_LINES, placeholder="…")
    words = "".join(
        f'<text x="{x:g}" y="{y + 4 + 12 * (k - (len(lines) - 1) / 2):g}">{escape(line)}</text>'
        for k, line in enumerate(lines)
    )
    box = f'<rect class="part{" on" if on else ""}" x="{x - _BOX / 2:g}" y="{y - _HIGH / 2:g}"'
    return f'{box} width="{_BOX}" height="{_HIGH}" rx="6"/>{words}'


def _probe(spot: Spot, colour: str, side: int, *, upright: bool = False) -> str:
    """A probe's tip on a spot, with its handle below it to one side; inwards where the line runs upright."""
    x, y = spot
    hx, hy = x + side * 15, y + 25
    if upright:
        hx, hy = x + (44 if x < _GAP + _BOX else -44), y - 7
    return (
        f'<line class="lead {colour}" x1="{x:g}" y1="{y:g}" x2="{hx:g}" y2="{hy + (7 if upright else 0):g}"/>'
        f'<circle class="{colour}" cx="{x:g}" cy="{y:g}" r="4.5"/>'
        f'<rect class="{colour}" x="{hx - 18:g}" y="{hy:g}" width="36" height="15" rx="5"/>'
        f'<text class="tag {colour}" x="{hx:g}" y="{hy + 11.5:g}">{colour}</text>'
    )
