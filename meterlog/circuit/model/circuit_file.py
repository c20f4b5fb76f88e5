"""Circuits from TOML: templates that come with the program, and files that a person edits."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from meterlog.cautions import NEAR
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_checks import MOST_PARTS, check_circuit
from meterlog.circuit.model.conductor import copper_ohm
from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import BATTERY_MINUS, KINDS, STATES, Part, Point, near
from meterlog.errors import CircuitError
from meterlog.text.toml import TomlText, parse_toml, read_toml

MOST_POINTS, MOST_BRANCHES = 80, 12
"""Twice as many places as parts; a fuse that feeds more than a dozen loads is drawn with those that matter. Guesses."""
LONGEST_NAME = 80
"""Characters: a name is to fit a line."""
MOST_OHM, LEAST_LOAD_OHM = 1e7, 1e-3
"""A part's resistance ends where meters show overload; below is no load, but a short (starters have some 10 mohm)."""
MOST_A = 5000.0
"""No starter draws more; see `impossible_values`."""
LEAST_A, LEAST_SYSTEM_V, MOST_MIN, MOST_RATE = 1e-3, 1.0, 1e4, 1e6
"""Bounds of what a person may state: a load's current, the system voltage, minutes of access, a fault rate. Guesses:
beyond them it is a slip."""
LEAST_MM2, MOST_MM2, LEAST_M, MOST_M = 0.05, 500.0, 0.01, 100.0
"""Bounds of a vehicle's wires: cross-section, mm2, and length, m. Guesses: beyond them it is a slip."""
_CLOSED_BY_COMMAND = ("relay_contact", "switch", "motor", "load")
_CONTACTS = ("relay_contact", "switch")


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
    chain = tuple(_part(row, k, source) for k, row in enumerate(rows(table, "part", source, MOST_PARTS), 1))
    branches = [_branch(row, k, source) for k, row in enumerate(rows(table, "branch", source, MOST_BRANCHES), 1)]
    parts = (*chain, *(part for _, inside in branches for part in inside))
    points = tuple(_point(row, k, source) for k, row in enumerate(rows(table, "point", source, MOST_POINTS), 1))
    active = _states(table, "active", f"{source}:") if "active" in table else list(Circuit.active)
    circuit = Circuit(
        name=_text(table, "name", f"{source}:", default=Path(source).stem),
        system_v=number(table, "system_v", f"{source}:", default=12.0, least=LEAST_SYSTEM_V),
        parts=parts,
        points=points,
        active=tuple(active),
        near=_near(table, f"{source}:"),
        branches=_joined([branch for branch, _ in branches], chain, points, source),
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
    for key in table:
        if key not in known:
            raise CircuitError(f"{source}: unknown key '{key}'{near(key, sorted(known))}")


def rows(table: Mapping[str, object], key: str, source: str, most: int) -> list[Mapping[str, object]]:
    """A list of tables under a key; empty where the key is absent.

    Raises:
        CircuitError: it is something else, or has more than `most` of them.
    """
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise CircuitError(f"{source}: '{key}' must be a list of tables such as {key} = [{{...}}, {{...}}]")
    if len(found) > most:
        raise CircuitError(f"{source}: {len(found)} entries of '{key}' are too many: at most {most} are allowed")
    return found


def number(
    row: Mapping[str, object],
    key: str,
    where: str,
    *,
    default: float,
    least: float = 0.0,
    most: float = 1e9,
) -> float:
    """A number under a key.

    Raises:
        CircuitError: it is not a number, or out of bounds.
    """
    value = row.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value <= most:
        upper = f"to {most:.10g}" if isinstance(value, int | float) and value > most else "up"
        raise CircuitError(f"{where} '{key}' must be a number from {least:g} {upper}{instead(value)}")
    return float(value)


def instead(value: object) -> str:
    """The end of a sentence about a wrong value: what was there; long ones cut."""
    if value is None:
        return "; it is missing"
    text = repr(value)
    return f", not {text if len(text) <= 60 else f'{text[:57]}...'}"


def _text(row: Mapping[str, object], key: str, where: str, default: str = "") -> str:
    """A text of one printable line under a key."""
    value = row.get(key, default)
    if not isinstance(value, str):
        raise CircuitError(f"{where} '{key}' must be text in quotes{instead(value)}")
    if not value.isprintable() or len(value) > LONGEST_NAME:
        raise CircuitError(
            f"{where} '{key}' must be one line of at most {LONGEST_NAME} printable characters{instead(value)}"
        )
    return value


def _id(row: Mapping[str, object], what: str) -> str:
    if not str(row.get("id", "")).strip():
        raise CircuitError(f"{what} has no 'id'")
    return _text(row, "id", what)


def _part(row: Mapping[str, object], place: int, source: str) -> Part:
    id_ = _id(row, f"{source}: part {place}")
    where = f"{source}: part '{id_}':"
    _only(row, Part.__slots__, where)
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise CircuitError(f"{where} 'kind' must be one of {', '.join(KINDS)}{instead(kind)}")
    by_design = row.get("by_design", False)
    if not isinstance(by_design, bool):
        raise CircuitError(f"{where} 'by_design' must be true or false{instead(by_design)}")
    if by_design and kind == "resistor" and "resistance_ohm" not in row:
        raise CircuitError(f"{where} an intended loss ('by_design') needs its 'resistance_ohm'")
    command = _text(row, "command", where)
    if command and kind not in _CLOSED_BY_COMMAND:
        raise CircuitError(f"{where} 'command' is what closes a relay_contact or switch; nothing closes a {kind}")
    drawn = "current_a" in row
    gauge_mm2, length_m = _conductor(row, kind, where)
    if "rating_a" in row and kind != "fuse":
        raise CircuitError(f"{where} 'rating_a' is what is printed on a fuse; this is a {kind}")
    if "closed_in" in row and kind not in _CONTACTS:
        raise CircuitError(f"{where} 'closed_in' belongs to a contact ({', '.join(_CONTACTS)}); this is a {kind}")
    if "leaks_to" in row and kind != "connector":
        raise CircuitError(f"{where} 'leaks_to' says where water in a connector leads to; this is a {kind}")
    return Part(
        id=id_,
        kind=kind,
        resistance_ohm=_resistance(row, kind, gauge_mm2, length_m, where),
        current_a=number(row, "current_a", where, default=0.0, least=LEAST_A, most=MOST_A) if drawn else None,
        command=command,
        by_design=by_design,
        access_min=number(row, "access_min", where, default=5.0, most=MOST_MIN),
        fault_rate=number(row, "fault_rate", where, default=0.0, most=MOST_RATE) if "fault_rate" in row else None,
        near=_near(row, where),
        **_marks(row, where),
        gauge_mm2=gauge_mm2,
        length_m=length_m,
        rating_a=number(row, "rating_a", where, default=0.0, least=LEAST_A, most=MOST_A) if "rating_a" in row else None,
        closed_in=tuple(_states(row, "closed_in", where)) if "closed_in" in row else None,
        price=number(row, "price", where, default=0.0) if "price" in row else None,
        replace_min=number(row, "replace_min", where, default=0.0, most=MOST_MIN) if "replace_min" in row else None,
        leaks_to=_text(row, "leaks_to", where),
    )


def _conductor(row: Mapping[str, object], kind: str, where: str) -> tuple[float | None, float | None]:
    """A wire's cross-section, mm2, and length, m."""
    for key in ("gauge_mm2", "length_m"):
        if key in row and kind != "wire":
            raise CircuitError(f"{where} '{key}' belongs to a wire; this is a {kind}")
    gauge = number(row, "gauge_mm2", where, default=1.0, least=LEAST_MM2, most=MOST_MM2)
    length = number(row, "length_m", where, default=1.0, least=LEAST_M, most=MOST_M)
    return gauge if "gauge_mm2" in row else None, length if "length_m" in row else None


def _resistance(
    row: Mapping[str, object], kind: str, gauge_mm2: float | None, length_m: float | None, where: str
) -> float | None:
    """As stated; else a wire's by its copper; None where the kind's default applies."""
    if "resistance_ohm" in row:
        least = LEAST_LOAD_OHM if kind in ("motor", "load") else 0.0
        return number(row, "resistance_ohm", where, default=0.0, least=least, most=MOST_OHM)
    if gauge_mm2 is None or length_m is None:
        return None
    return copper_ohm(length_m, gauge_mm2)


def _marks(row: Mapping[str, object], where: str) -> dict[str, str]:
    """Return what finds a part or point in the vehicle."""
    return {key: _text(row, key, where) for key in ("colour", "pins", "connector")}


def _point(row: Mapping[str, object], place: int, source: str) -> Point:
    id_ = _id(row, f"{source}: point {place}")
    where = f"{source}: point '{id_}':"
    _only(row, Point.__slots__, where)
    if "after" not in row:
        raise CircuitError(f"{where} 'after' is missing: the part before it")
    access_min = number(row, "access_min", where, default=5.0, most=MOST_MIN)
    return Point(id_, _text(row, "after", where), access_min, _near(row, where), **_marks(row, where))


def _branch(row: Mapping[str, object], place: int, source: str) -> tuple[Branch, tuple[Part, ...]]:
    """A branch as it stands in the file, and its parts; its ends may be points still."""
    id_ = _id(row, f"{source}: branch {place}")
    where = f"{source}: branch '{id_}':"
    _only(row, ("id", "after", "to", "part"), where)
    if "after" not in row:
        raise CircuitError(f"{where} 'after' is missing: the part or point at which it leaves the chain")
    plain = where.removesuffix(":")
    inside = tuple(_part(one, k, plain) for k, one in enumerate(rows(row, "part", plain, MOST_PARTS), 1))
    if not inside:
        raise CircuitError(f"{where} 'part' is missing: a branch is a list of parts in the order the current flows")
    to = _text(row, "to", where, default=BATTERY_MINUS)
    return Branch(id_, _text(row, "after", where), to, tuple(part.id for part in inside)), inside


def _joined(
    branches: Sequence[Branch], chain: Sequence[Part], points: Sequence[Point], source: str
) -> tuple[Branch, ...]:
    """The branches with parts as their ends; each may leave and join only what stands before it in the file."""
    at = {BATTERY_MINUS: chain[-1].id} | {point.id: point.after for point in points}
    known = [part.id for part in chain]
    found = []
    for branch in branches:
        where = f"{source}: branch '{branch.id}':"
        ends = [at.get(end, end) for end in (branch.after, branch.to)]
        for key, end in zip(("after", "to"), ends, strict=True):
            if end not in known:
                raise CircuitError(
                    f"{where} '{key}' must be a part or point of the chain or of a branch above it, not '{end}'"
                    + near(end, [*known, *at])
                )
        if ends[0] == ends[1]:
            raise CircuitError(f"{where} it joins again where it leaves, behind '{ends[0]}': nothing would flow in it")
        found.append(replace(branch, after=ends[0], to=ends[1]))
        known += branch.parts
    return tuple(found)


def _near(row: Mapping[str, object], where: str) -> tuple[str, ...] | None:
    """Read the list of what a thing is near; empty for none of the known hazards, None if it is left unsaid."""
    if "near" not in row:
        return None
    words = _words(row, "near", where, NEAR[0])
    for word in words:
        if word not in NEAR:
            raise CircuitError(f"{where} 'near' does not know{instead(word).removeprefix(', not')}{near(word, NEAR)}")
    return tuple(dict.fromkeys(words))


def _words(row: Mapping[str, object], key: str, where: str, such_as: str = BATTERY_MINUS) -> list[str]:
    words = row.get(key, [])
    if not isinstance(words, list) or not all(isinstance(word, str) for word in words):
        raise CircuitError(f"{where} '{key}' must be a list of words such as [\"{such_as}\"]{instead(words)}")
    return words


def _states(row: Mapping[str, object], key: str, where: str) -> list[str]:
    """A list of the states of the key, one at least."""
    words = row.get(key)
    if not isinstance(words, list) or not words or any(word not in STATES[:-1] for word in words):
        raise CircuitError(f"{where} '{key}' must be a list of states out of {', '.join(STATES[:-1])}{instead(words)}")
    return words


def _only(row: Mapping[str, object], known: Iterable[str], where: str) -> None:
    for key in row:
        if key not in known:
            raise CircuitError(f"{where} unknown key '{key}'{near(key, known)}")


def _templates() -> Traversable:
    return files("meterlog.circuit") / "templates"
