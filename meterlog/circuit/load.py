"""Circuits from TOML: templates that come with the program, and files that a person edits."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterable, Mapping
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from meterlog.circuit.model import KINDS, STATES, Circuit, Part, Point, near
from meterlog.errors import CircuitError

_FORBIDDEN = (
    "airbag",
    "srs",
    "restraint",
    "pretensioner",
    "high_voltage",
    "highvoltage",
    "hv",
    "traction_battery",
    "inverter",
)


def template_names() -> list[str]:
    """The circuits that come with the program."""
    return sorted(f.name.removesuffix(".toml") for f in _templates().iterdir() if f.name.endswith(".toml"))


def read_table(name_or_path: str | Path, *, templates: bool = True) -> dict[str, object]:
    """The TOML table of a file, or (where `templates` says so) of a template's name.

    Raises:
        CircuitError: no such template or file, or it is not TOML.
    """
    path = Path(name_or_path)
    try:
        if templates and str(name_or_path) in template_names():
            text = (_templates() / f"{name_or_path}.toml").read_text("utf-8")
        else:
            text = path.read_text("utf-8")
        return tomllib.loads(text)
    except FileNotFoundError:
        among = f", and no template of that name ({', '.join(template_names())})" if templates else ""
        raise CircuitError(f"there is no file '{name_or_path}'{among}") from None
    except (OSError, UnicodeDecodeError) as error:
        raise CircuitError(f"'{name_or_path}' cannot be read: {error}") from error
    except tomllib.TOMLDecodeError as error:
        raise CircuitError(f"'{name_or_path}' is not TOML: {error}") from error


def load_circuit(name_or_path: str | Path) -> Circuit:
    """A circuit from a template's name or a TOML file.

    Raises:
        CircuitError: naming the key or part that is wrong.
    """
    return circuit_from_table(read_table(name_or_path), str(name_or_path))


def circuit_from_table(table: Mapping[str, object], source: str = "circuit") -> Circuit:
    """A circuit from its TOML table. `measured` and `tried` are read elsewhere; `truth` is never read.

    Raises:
        CircuitError: naming the key or part that is wrong.
    """
    known = {"name", "system_v", "part", "point", "active", "measured", "tried", "truth", "note"}
    for key in table:
        if key not in known:
            raise CircuitError(f"{source}: unknown key '{key}'{near(key, sorted(known))}")
    parts = tuple(_part(row, source) for row in rows(table, "part", source))
    points = tuple(_point(row, source) for row in rows(table, "point", source))
    active = table.get("active", list(Circuit.active))
    if not isinstance(active, list) or not active or any(s not in STATES for s in active):
        raise CircuitError(f"{source}: 'active' wants a list of states out of {', '.join(STATES)}")
    circuit = Circuit(
        name=str(table.get("name", source)),
        system_v=number(table, "system_v", f"{source}:", default=12.0, least=1.0),
        parts=parts,
        points=points,
        active=tuple(active),
    )
    _check(circuit, source)
    return circuit


def rows(table: Mapping[str, object], key: str, source: str) -> list[Mapping[str, object]]:
    """A list of tables under a key; empty where the key is absent.

    Raises:
        CircuitError: it is something else.
    """
    found = table.get(key, [])
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise CircuitError(f"{source}: '{key}' wants a list of tables like {key} = [{{id = ...}}]")
    return found


def number(
    row: Mapping[str, object],
    key: str,
    where: str,
    *,
    default: float,
    least: float = 0.0,
) -> float:
    """A number under a key.

    Raises:
        CircuitError: it is not a number, or below `least`.
    """
    value = row.get(key, default)
    if isinstance(value, bool) or not isinstance(value, int | float) or not least <= value < math.inf:
        raise CircuitError(f"{where} '{key}' wants a number from {least:g} up, not {value!r}")
    return float(value)


def _part(row: Mapping[str, object], source: str) -> Part:
    id_ = row.get("id")
    if not isinstance(id_, str) or not id_:
        raise CircuitError(f"{source}: a part has no 'id': {dict(row)!r}")
    where = f"{source}: part '{id_}':"
    _only(row, Part.__slots__, where)
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise CircuitError(f"{where} 'kind' is one of {', '.join(KINDS)}, not {kind!r}")
    by_design = row.get("by_design", False)
    command = row.get("command", "")
    if not isinstance(by_design, bool) or not isinstance(command, str):
        raise CircuitError(f"{where} 'by_design' wants true or false and 'command' a name")
    return Part(
        id=id_,
        kind=kind,
        resistance_ohm=number(row, "resistance_ohm", where, default=0.0) if "resistance_ohm" in row else None,
        current_a=number(row, "current_a", where, default=0.0, least=1e-3) if "current_a" in row else None,
        command=command,
        by_design=by_design,
        access_min=number(row, "access_min", where, default=5.0),
        fault_rate=number(row, "fault_rate", where, default=0.0) if "fault_rate" in row else None,
    )


def _point(row: Mapping[str, object], source: str) -> Point:
    id_, after = row.get("id"), row.get("after")
    if not isinstance(id_, str) or not id_ or not isinstance(after, str):
        raise CircuitError(f"{source}: a point wants an 'id' and 'after' (the part before it): {dict(row)!r}")
    where = f"{source}: point '{id_}':"
    _only(row, Point.__slots__, where)
    return Point(id_, after, number(row, "access_min", where, default=5.0))


def _only(row: Mapping[str, object], known: Iterable[str], where: str) -> None:
    for key in row:
        if key not in known:
            raise CircuitError(f"{where} unknown key '{key}'{near(key, known)}")


def _check(circuit: Circuit, source: str) -> None:
    if len(circuit.parts) < 2 or circuit.parts[0].kind != "battery":
        raise CircuitError(f"{source}: the first 'part' must be of the kind battery, and the others follow the current")
    if sum(part.kind in ("motor", "load") for part in circuit.parts) == 0:
        raise CircuitError(f"{source}: no 'part' is of the kind motor or load: what does the circuit feed?")
    seen: set[str] = set()
    for id_ in [*(p.id for p in circuit.parts), *(p.id for p in circuit.points), *circuit.commands]:
        if id_ in seen:
            raise CircuitError(f"{source}: the id '{id_}' is used twice")
        seen.add(id_)
        refuse_dangerous(id_, source)
    refuse_dangerous(circuit.name, source)
    if circuit.system_v > 60:
        raise CircuitError(f"{source}: 'system_v' is {circuit.system_v:g} V; above 60 V a circuit is out of scope")
    for point in circuit.points:
        if point.after not in circuit.part_index:
            raise CircuitError(
                f"{source}: point '{point.id}' is after '{point.after}', which is no part"
                + near(point.after, circuit.part_index)
            )


def refuse_dangerous(words: str, source: str) -> None:
    """Refuse what belongs to a restraint or a high-voltage circuit: those are never probed (makers' manuals).

    Raises:
        CircuitError: it does.
    """
    plain = words.lower().replace("-", "_").replace(" ", "_")
    for word in _FORBIDDEN:
        if word in plain.split("_") or (len(word) > 3 and word in plain):
            raise CircuitError(
                f"{source}: '{words}' looks like a restraint or high-voltage circuit: never probe or load-test those;"
                " follow the vehicle's service information"
            )


def _templates() -> Traversable:
    return files("meterlog.circuit") / "templates"
