"""A dataset's own list of what it holds, in small files: to find that nothing has changed needs no table."""

from __future__ import annotations

import json
import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from meterlog.fleet.sources import WITH_READINGS

NAME, FOLDER = "held.json", "held"
"""Names the list's parts, and the folder that they are in."""

VERSION = 2
"""Of a dataset's tables: a column that is added keeps it, one that changes its name, type or meaning raises it."""


class Known(NamedTuple):
    """A session or job that a dataset holds.

    Attributes:
        fingerprint: of the file as it was read.
        partition: where its rows are.
    """

    fingerprint: str
    partition: str


Held = Mapping[str, Known]
"""By the path as it stands in the tables."""

Changed = Mapping[str, Known | None]
"""The same, with None for what is held no more."""

_DAMAGE = (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError)
"""Says what reading a list raises that is missing, damaged or of another version."""


def is_dataset(path: Path) -> bool:
    """Tell whether a folder is a dataset."""
    return next((path / "sessions").rglob("*.parquet"), None) is not None


def read_held(dataset: Path) -> dict[str, Known] | None:
    """Return what a dataset holds; None where its list is missing, damaged or of another version."""
    try:
        held: dict[str, Known] = {}
        for part in _parts(dataset):
            for name, one in _read(dataset / FOLDER / part).items():
                if one is None:
                    del held[name]
                else:
                    held[name] = one
        return held
    except _DAMAGE:
        return None


def write_held(dataset: Path, before: Path, held: Held, changed: Changed) -> list[str]:
    """Write the list into a dataset that is being made.

    What changed is a part of its own. A part is written again with what comes once that is as much as it holds, so that
    many rounds cost no more than what they bring.

    Args:
        dataset: that is being made.
        before: its state before, which need not exist.
        held: what it held then.
        changed: what it holds since, and None for what it holds no more.

    Returns:
        Names of the parts that stay as they are.

    Raises:
        OSError: it cannot be written.
    """
    try:
        parts, rows = _parts(before), dict(changed)
        while parts and next(reversed(parts.values())) <= len(rows):
            name, _ = parts.popitem()
            rows = _read(before / FOLDER / name) | rows
    except _DAMAGE:
        parts, rows = {}, {**held, **changed}
    if not parts:
        rows = {name: one for name, one in rows.items() if one is not None}
    kept, new = list(parts), f"{secrets.token_hex(4)}.json"
    (dataset / FOLDER).mkdir(parents=True)
    _write(dataset / FOLDER / new, rows)
    text = json.dumps({"version": VERSION, "parts": parts | {new: len(rows)}})
    (dataset / NAME).write_text(text, "utf-8")
    return kept


def _parts(dataset: Path) -> dict[str, int]:
    """Return the names of the list's parts, the oldest first, and how many rows each has."""
    root = json.loads((dataset / NAME).read_text("utf-8"))
    if root["version"] != VERSION:
        raise ValueError("another version")
    return {str(name): int(rows) for name, rows in root["parts"].items()}


def _read(part: Path) -> dict[str, Known | None]:
    found = json.loads(part.read_text("utf-8"))
    partitions = found["partitions"]
    gone: dict[str, Known | None] = dict.fromkeys(found["gone"])
    return gone | {name: Known(fingerprint, partitions[at]) for name, (fingerprint, at) in found["held"].items()}


def _write(part: Path, rows: Changed) -> None:
    partitions = sorted({one.partition for one in rows.values() if one is not None})
    places = {name: number for number, name in enumerate(partitions)}
    held = {name: (one.fingerprint, places[one.partition]) for name, one in rows.items() if one is not None}
    gone = [name for name, one in rows.items() if one is None]
    text = json.dumps({"partitions": partitions, "gone": gone, "held": held}, separators=(",", ":"))
    part.write_text(text, "utf-8")


def holds_readings(held: Held) -> bool:
    """Tell whether the readings themselves are in a dataset."""
    return any(one.fingerprint.endswith(WITH_READINGS) for one in held.values())
