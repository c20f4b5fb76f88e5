"""Reads the parts, points and branches of a circuit out of the rows of its file."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from meterlog.circuit.model.circuit_checks import MOST_PARTS
from meterlog.circuit.model.conductor import copper_ohm
from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import BATTERY_MINUS, KINDS, Part, Point, near
from meterlog.circuit.model.table_rows import (
    hazards_in,
    id_in,
    instead,
    number,
    refuse_unknown,
    rows,
    states_in,
    text_in,
)
from meterlog.errors import CircuitError

MOST_OHM, LEAST_LOAD_OHM = 1e7, 1e-3
"""A part's resistance ends where meters show overload; below is no load, but a short (starters have some 10 mohm)."""
MOST_A = 5000.0
"""No starter draws more; see `impossible_values`."""
LEAST_A, MOST_MIN, MOST_RATE = 1e-3, 1e4, 1e6
"""Bounds of what a person may state: a load's current, minutes of access, a fault rate. Guesses: beyond them it is a
slip."""
LEAST_MM2, MOST_MM2, LEAST_M, MOST_M = 0.05, 500.0, 0.01, 100.0
"""Bounds of a vehicle's wires: cross-section, mm2, and length, m. Guesses: beyond them it is a slip."""
_CLOSED_BY_COMMAND = ("relay_contact", "switch", "motor", "load")
_CONTACTS = ("relay_contact", "switch")


def part_from_row(row: Mapping[str, object], place: int, source: str) -> Part:
    """One part out of its row, the `place`-th.

    Raises:
        CircuitError: naming the part and the key.
    """
    id_ = id_in(row, f"{source}: part {place}")
    where = f"{source}: part '{id_}':"
    refuse_unknown(row, Part.__slots__, where)
    kind = row.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise CircuitError(f"{where} 'kind' must be one of {', '.join(KINDS)}{instead(kind)}")
    by_design = row.get("by_design", False)
    if not isinstance(by_design, bool):
        raise CircuitError(f"{where} 'by_design' must be true or false{instead(by_design)}")
    if by_design and kind == "resistor" and "resistance_ohm" not in row:
        raise CircuitError(f"{where} an intended loss ('by_design') needs its 'resistance_ohm'")
    command = text_in(row, "command", where)
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
        near=hazards_in(row, where),
        **_marks(row, where),
        gauge_mm2=gauge_mm2,
        length_m=length_m,
        rating_a=number(row, "rating_a", where, default=0.0, least=LEAST_A, most=MOST_A) if "rating_a" in row else None,
        closed_in=tuple(states_in(row, "closed_in", where)) if "closed_in" in row else None,
        price=number(row, "price", where, default=0.0) if "price" in row else None,
        replace_min=number(row, "replace_min", where, default=0.0, most=MOST_MIN) if "replace_min" in row else None,
        leaks_to=text_in(row, "leaks_to", where),
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
    return {key: text_in(row, key, where) for key in ("colour", "pins", "connector")}


def point_from_row(row: Mapping[str, object], place: int, source: str) -> Point:
    """One point out of its row, the `place`-th.

    Raises:
        CircuitError: naming the point and the key.
    """
    id_ = id_in(row, f"{source}: point {place}")
    where = f"{source}: point '{id_}':"
    refuse_unknown(row, Point.__slots__, where)
    if "after" not in row:
        raise CircuitError(f"{where} 'after' is missing: the part before it")
    access_min = number(row, "access_min", where, default=5.0, most=MOST_MIN)
    return Point(id_, text_in(row, "after", where), access_min, hazards_in(row, where), **_marks(row, where))


def branch_from_row(row: Mapping[str, object], place: int, source: str) -> tuple[Branch, tuple[Part, ...]]:
    """A branch as it stands in the file, and its parts; its ends may be points still.

    Raises:
        CircuitError: naming the branch or part, and the key.
    """
    id_ = id_in(row, f"{source}: branch {place}")
    where = f"{source}: branch '{id_}':"
    refuse_unknown(row, ("id", "after", "to", "part"), where)
    if "after" not in row:
        raise CircuitError(f"{where} 'after' is missing: the part or point at which it leaves the chain")
    plain = where.removesuffix(":")
    inside = tuple(part_from_row(one, k, plain) for k, one in enumerate(rows(row, "part", plain, MOST_PARTS), 1))
    if not inside:
        raise CircuitError(f"{where} 'part' is missing: a branch is a list of parts in the order the current flows")
    to = text_in(row, "to", where, default=BATTERY_MINUS)
    return Branch(id_, text_in(row, "after", where), to, tuple(part.id for part in inside)), inside


def with_part_ends(
    branches: Sequence[Branch], chain: Sequence[Part], points: Sequence[Point], source: str
) -> tuple[Branch, ...]:
    """The branches with parts as their ends; each may leave and join only what stands before it in the file.

    Raises:
        CircuitError: naming the branch and its end.
    """
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
