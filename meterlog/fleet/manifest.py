"""A dataset's own list of what it holds, in one small file: to find that nothing has changed needs no table."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from meterlog.fleet.sources import WITH_READINGS

NAME = "held.json"

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


def is_dataset(path: Path) -> bool:
    """Tell whether a folder is a dataset."""
    return next((path / "sessions").rglob("*.parquet"), None) is not None


def read_held(dataset: Path) -> dict[str, Known] | None:
    """Return what a dataset holds; None where its list is missing, damaged or of another version."""
    try:
        found = json.loads((dataset / NAME).read_text("utf-8"))
        if found["version"] != VERSION:
            return None
        partitions = found["partitions"]
        return {name: Known(fingerprint, partitions[at]) for name, (fingerprint, at) in found["held"].items()}
    except (OSError, ValueError, TypeError, KeyError, IndexError, AttributeError):
        return None


def write_held(dataset: Path, held: Held) -> None:
    """Write the list into a dataset that is being made.

    Raises:
        OSError: it cannot be written.
    """
    partitions = sorted({one.partition for one in held.values()})
    places = {name: number for number, name in enumerate(partitions)}
    rows = {name: (one.fingerprint, places[one.partition]) for name, one in held.items()}
    text = json.dumps({"version": VERSION, "partitions": partitions, "held": rows}, separators=(",", ":"))
    (dataset / NAME).write_text(text, "utf-8")


def holds_readings(held: Held) -> bool:
    """Tell whether the readings themselves are in a dataset."""
    return any(one.fingerprint.endswith(WITH_READINGS) for one in held.values())
