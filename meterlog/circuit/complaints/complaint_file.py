"""Complaints from TOML: those that come with the program, found by their words."""

from __future__ import annotations

import difflib
import math
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

from meterlog.circuit.complaints.complaint import Complaint, Look
from meterlog.errors import CircuitError
from meterlog.text.toml import parse_toml

_ALIKE = 0.72
"""Words as alike as this are taken to mean the same complaint (difflib's ratio). A guess."""
_LEAST_LETTERS = 5
"""Shorter words are found in too many sentences. A choice."""
_LOOK_KEYS = frozenset(("key", "question", "minutes"))


@cache
def complaints() -> tuple[Complaint, ...]:
    """Return all complaints that the program knows, by name."""
    folder = files("meterlog.circuit.complaints") / "looks"
    found = sorted((f for f in folder.iterdir() if f.name.endswith(".toml")), key=lambda f: f.name)
    return tuple(complaint_from_toml(f.read_bytes(), f.name.removesuffix(".toml")) for f in found)


def look_keys() -> frozenset[str]:
    """Return the keys of all looks."""
    return frozenset(look.key for complaint in complaints() for look in complaint.looks)


def find_complaint(words: str) -> Complaint | None:
    """Return the complaint that a person's words mean; None where none is near enough."""
    said = _plain(words)

    def alike(complaint: Complaint) -> float:
        known = (complaint.id.replace("-", " "), complaint.text, *complaint.also)
        return max(_alike(said, _plain(text)) for text in known)

    best = max(complaints(), key=alike)
    return best if alike(best) >= _ALIKE else None


def complaint_from_toml(text: bytes, name: str) -> Complaint:
    """Read a complaint; every circuit must have a probability in every answer, and they must add up.

    Raises:
        CircuitError: naming the look or circuit that is wrong.
    """
    table = parse_toml(text, f"{name}.toml", CircuitError).values
    circuits = _shares(table.get("circuits"), f"{name}: 'circuits'")
    if not math.isclose(sum(circuits.values()), 1.0, abs_tol=1e-6):
        raise CircuitError(f"{name}: the probabilities of 'circuits' add up to {sum(circuits.values()):g}, not to 1")
    looks = table.get("look")
    if not isinstance(looks, list) or not looks:
        raise CircuitError(f"{name}: there is no 'look'")
    names, also = table.get("names", {}), table.get("also", [])
    if not isinstance(names, dict) or not isinstance(also, list):
        raise CircuitError(f"{name}: 'names' is a table and 'also' a list of words")
    return Complaint(
        id=name,
        text=str(table.get("complaint", name)),
        also=tuple(map(str, also)),
        circuits=circuits,
        names={str(key): str(value) for key, value in names.items()},
        looks=tuple(_look(row, circuits, name) for row in looks),
        engine_runs=bool(table.get("engine_runs", True)),
        comes_and_goes=bool(table.get("comes_and_goes", False)),
    )


def _look(row: Mapping[str, object], circuits: Mapping[str, float], name: str) -> Look:
    key, minutes = str(row.get("key", "")), row.get("minutes", 1)
    where = f"{name}: look '{key}'"
    if not key or not isinstance(minutes, int | float) or minutes <= 0:
        raise CircuitError(f"{where} needs a 'key' and 'minutes' above 0")
    answers = {answer: _shares(row[answer], f"{where}, '{answer}'") for answer in row if answer not in _LOOK_KEYS}
    for circuit in circuits:
        total = sum(shares.get(circuit, math.nan) for shares in answers.values())
        if not math.isclose(total, 1.0, abs_tol=1e-6):
            raise CircuitError(f"{where}: the answers of '{circuit}' add up to {total:g}, not to 1")
    return Look(key, str(row.get("question", key)), float(minutes), answers)


def _shares(value: object, where: str) -> dict[str, float]:
    if not isinstance(value, dict) or not all(isinstance(v, int | float) and v >= 0 for v in value.values()):
        raise CircuitError(f"{where} must be a table of circuits and probabilities")
    return {str(name): float(share) for name, share in value.items()}


def _alike(said: str, known: str) -> float:
    """From 0 to 1; words that hold the known ones, or are held by them, mean the same."""
    short, long = sorted((said, known), key=len)
    if len(short) >= _LEAST_LETTERS and set(short.split()) <= set(long.split()):
        return _ALIKE + (1.0 - _ALIKE) * len(short) / len(long)
    return difflib.SequenceMatcher(None, said, known).ratio()


def _plain(words: str) -> str:
    return " ".join(words.casefold().replace(",", " ").replace("'", "").split())
