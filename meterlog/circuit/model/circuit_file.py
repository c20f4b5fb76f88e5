"""Circuits from TOML: templates that come with the program, and files that a person edits."""

from __future__ import annotations

import re
from collections.abc import Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_checks import LEAST_V, MOST_PARTS, check_circuit
from meterlog.circuit.model.part_rows import branch_from_row, part_from_row, point_from_row, with_part_ends
from meterlog.circuit.model.table_rows import hazards_in, number, refuse_unknown, rows, states_in, text_in
from meterlog.errors import CircuitError
from meterlog.text.toml import TomlText, parse_toml, read_toml

MOST_POINTS, MOST_BRANCHES = 80, 12
"""Twice as many places as parts; a fuse that feeds more than a dozen loads is drawn with those that matter. Guesses."""


def template_names() -> list[str]:
    """The circuits that come with the program."""
    return sorted(f.name.removesuffix(".toml") for f in _templates().iterdir() if f.name.endswith(".toml"))


def template_text(name: str) -> bytes:
    """The file of a template, with its comments."""
    return (_templates() / f"{name}.toml").read_bytes()


def read_table(name_or_path: str | Path, *, templates: bool = True) -> dict[str, object]:
    """The TOML table of a file, as `read_text` finds it.

    Raises:
        CircuitError: no such template or file, or it is not TOML.
    """
    return read_text(name_or_path, templates=templates).values


def read_text(name_or_path: str | Path, *, templates: bool = True) -> TomlText:
    """The TOML of a file, or (where `templates` says so) of a template's name.

    Raises:
        CircuitError: no such template or file, or it is not TOML.
    """
    if templates and str(name_or_path) in template_names():
        return parse_toml(template_text(str(name_or_path)), f"{name_or_path}.toml", CircuitError)
    if not str(name_or_path):
        raise CircuitError("no file is named: ''")
    try:
        return read_toml(name_or_path, CircuitError)
    except FileNotFoundError:
        among = f", and no template of that name ({', '.join(template_names())})" if templates else ""
        raise CircuitError(f"there is no file '{name_or_path}'{among}") from None


def load_circuit(name_or_path: str | Path) -> Circuit:
    """A circuit from a template's name or a TOML file.

    Raises:
        CircuitError: naming the key or part that is wrong.
    """
    text, source = read_text(name_or_path), str(name_or_path)
    try:
        return circuit_from_table(text.values, source)
    except CircuitError as error:
        line = _line_of(str(error), source, text)
        if line is None:
            raise
        raise CircuitError(str(error).replace(f"{source}:", f"{source}, line {line}:", 1)) from None


def _line_of(said: str, source: str, text: TomlText) -> int | None:
    """The line of what an error names: the row of an id, or else a key of the file; None where it names none."""
    if not said.startswith(f"{source}:"):
        return None
    rows_named = re.findall(r"\b(?:part|point|branch) '([^']+)':", said)
    for name in [*rows_named[::-1], *re.findall(r"'([^']+)'", said.removeprefix(f"{source}:"))]:
        row = re.compile(rf"""\bid\s*=\s*["']{re.escape(name)}["']""")
        lines = [number for number, line in enumerate(text.text.splitlines(), 1) if row.search(line)]
        if lines:
            return lines[-1]
        if line := text.line("", name):
            return line
    return None


def circuit_from_table(table: Mapping[str, object], source: str = "circuit") -> Circuit:
    """A circuit from its TOML table. `measured` and `tried` are read elsewhere; `truth` is never read.

    Raises:
        CircuitError: naming the key or part that is wrong.
    """
    check_keys(table, source)
    if not table.get("part"):
        raise CircuitError(f"{source}: 'part' is missing: a circuit is a list of parts, starting at battery +")
    chain = tuple(part_from_row(row, k, source) for k, row in enumerate(rows(table, "part", source, MOST_PARTS), 1))
    branches = [
        branch_from_row(row, k, source) for k, row in enumerate(rows(table, "branch", source, MOST_BRANCHES), 1)
    ]
    parts = (*chain, *(part for _, inside in branches for part in inside))
    points = tuple(point_from_row(row, k, source) for k, row in enumerate(rows(table, "point", source, MOST_POINTS), 1))
    active = states_in(table, "active", f"{source}:") if "active" in table else list(Circuit.active)
    circuit = Circuit(
        name=text_in(table, "name", f"{source}:", default=Path(source).stem),
        system_v=number(table, "system_v", f"{source}:", default=12.0, least=LEAST_V),
        parts=parts,
        points=points,
        active=tuple(active),
        near=hazards_in(table, f"{source}:"),
        branches=with_part_ends([branch for branch, _ in branches], chain, points, source),
    )
    check_circuit(circuit, source)
    return circuit


def check_keys(table: Mapping[str, object], source: str) -> None:
    """Refuse what a circuit file, with its readings, does not have.

    Raises:
        CircuitError: naming the key.
    """
    known = {
        "name",
        "system_v",
        "part",
        "branch",
        "point",
        "active",
        "near",
        "measured",
        "tried",
        "observed",
        "truth",
        "note",
    }
    refuse_unknown(table, sorted(known), f"{source}:")


def _templates() -> Traversable:
    return files("meterlog.circuit") / "templates"
