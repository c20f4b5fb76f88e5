"""Writes a circuit as a commented TOML file that a person goes on editing."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import fields

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import circuit_from_table
from meterlog.circuit.model.part import Part, Point
from meterlog.errors import CircuitError
from meterlog.text.toml import parse_toml

_HEAD = """\
# {name}: put in what is still missing; the vehicle's service information has it.
# access_min: minutes to get a probe there. near: what it may be near, for the cautions ("fuel", "restraint",
# "battery gas", "moving parts", "hot", "high current", "under the vehicle"; [] for none of them).
"""
_PARTS = "# in the order the current flows, battery + round to battery -\n"
_BRANCH = """\
# beside the chain: it leaves behind the part 'after' and joins again behind the part 'to'
[[branch]]
id = {id}
after = {after}
to = {to}
"""
_POINTS = "# where a probe can touch: the place after the named part\n"


def circuit_toml(circuit: Circuit) -> tuple[str, str]:
    """Return the file of a circuit, and why it cannot be used yet; empty where reading it back gives the circuit."""
    lines = [f"name = {_text(circuit.name)}\n", f"system_v = {circuit.system_v:g}\n"]
    if circuit.active != Circuit.active:
        lines.append(f"active = {_text(list(circuit.active))}\n")
    if circuit.near is not None:
        lines.append(f"near = {_text(list(circuit.near))}\n")
    head = _HEAD.format(name=circuit.name)
    chain = [circuit.parts[k] for k in circuit.chain]
    text = "".join([head, *lines, _PARTS, *_rows("part", chain), _POINTS, *_rows("point", circuit.points)])
    for branch, inside in zip(circuit.branches, circuit.branch_positions, strict=True):
        text += _BRANCH.format(id=_text(branch.id), after=_text(branch.after), to=_text(branch.to))
        text += "".join(_rows("part", (circuit.parts[k] for k in inside)))
    try:
        circuit_from_table(parse_toml(text.encode(), circuit.name, CircuitError).values, circuit.name)
    except CircuitError as error:
        return text, str(error)
    return text, ""


def _rows(key: str, things: Iterable[Part | Point]) -> Iterable[str]:
    yield f"{key} = [\n"
    for thing in things:
        yield f"  {{{', '.join(_pairs(thing))}}},\n"
    yield "]\n"


def _pairs(thing: Part | Point) -> Iterable[str]:
    """Each key that says more than its default."""
    for field in fields(thing):
        value = getattr(thing, field.name)
        if value != field.default or field.name in ("id", "kind", "access_min"):
            yield f"{field.name} = {_text(value)}"


def _text(value: object) -> str:
    """TOML's strings, numbers, booleans and lists of them are written as JSON's."""
    return json.dumps(value, ensure_ascii=False)
