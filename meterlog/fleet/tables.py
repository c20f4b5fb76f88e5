"""The tables of a dataset: their columns, types and units, and the version of all that."""

from __future__ import annotations

import re
from datetime import UTC, datetime

import pyarrow as pa

from meterlog.errors import DatasetError
from meterlog.fleet.manifest import VERSION

VERSION_KEY = b"meterlog.dataset"
"""The key of the version in the metadata of each file."""

PARTED_BY = ("month", "vehicle_kind")
"""The columns that a table is parted by: in the names of the folders, not in the files."""

PARTITION = "partition"
"""The column that says, until new rows are in their files, which folder is theirs."""

UNKNOWN = "unknown"
"""The vehicle kind where none was entered."""

_LONGEST = 60
"""Characters of a vehicle kind in a folder's name: file systems take 255 bytes. A choice."""

_TEXT, _REAL, _WHOLE = pa.string(), pa.float64(), pa.int64()
_TIME = pa.timestamp("us", tz="UTC")

_COLUMNS: dict[str, dict[str, pa.DataType]] = {
    "sessions": {
        "session": _TEXT,
        "fingerprint": _TEXT,
        "started_at": _TIME,
        "duration_s": _REAL,
        "ended": _TEXT,
        "readings": _WHOLE,
        "vehicle": _TEXT,
        "system_v": _REAL,
        "temperature_c": _REAL,
        "details": _TEXT,
    },
    "channels": {
        "session": _TEXT,
        "channel": _WHOLE,
        "label": _TEXT,
        "point": _TEXT,
        "quantity": _TEXT,
        "unit": _TEXT,
        "role": _TEXT,
        "driver": _TEXT,
        "checked": _TEXT,
        "readings": _WHOLE,
        "doubtful": _WHOLE,
        "overloads": _WHOLE,
        "rejected_frames": _WHOLE,
        "interval_s": _REAL,
        "time_error_s": _REAL,
        "shortest_visible_s": _REAL,
        "watched_s": _REAL,
        "minimum": _REAL,
        "maximum": _REAL,
        "mean": _REAL,
        "median": _REAL,
        "last": _REAL,
        "slope_per_s": _REAL,
    },
    "events": {
        "session": _TEXT,
        "number": _WHOLE,
        "channel": _WHOLE,
        "kind": _TEXT,
        "start_s": _REAL,
        "end_s": _REAL,
        "duration_s": _REAL,
        "duration_error_s": _REAL,
        "level": _REAL,
        "extreme": _REAL,
        "reference": _REAL,
        "detail": _TEXT,
    },
    "findings": {
        "session": _TEXT,
        "number": _WHOLE,
        "channel": _WHOLE,
        "verdict": _TEXT,
        "text": _TEXT,
        "limit": _TEXT,
        "source": _TEXT,
        "margin": _REAL,
        "margin_error": _REAL,
    },
    "measures": {
        "session": _TEXT,
        "number": _WHOLE,
        "channel": _WHOLE,
        "label": _TEXT,
        "quantity": _TEXT,
        "role": _TEXT,
        "measure": _TEXT,
        "part": _WHOLE,
        "start_s": _REAL,
        "value": _REAL,
        "error": _REAL,
        "unit": _TEXT,
        "started_at": _TIME,
        "vehicle": _TEXT,
        "system_v": _REAL,
        "temperature_c": _REAL,
    },
    "markers": {
        "session": _TEXT,
        "number": _WHOLE,
        "time_s": _REAL,
        "name": _TEXT,
        "note": _TEXT,
        "by": _TEXT,
    },
    "jobs": {
        "job": _TEXT,
        "fingerprint": _TEXT,
        "opened_at": _TIME,
        "vehicle": _TEXT,
        "complaint": _TEXT,
        "circuit": _TEXT,
        "state": _TEXT,
        "verdict": _TEXT,
        "proof": _TEXT,
        "repaired": pa.list_(_TEXT),
        "price": _REAL,
        "minutes": _REAL,
        "measured": _WHOLE,
        "sessions": pa.list_(_TEXT),
        "details": _TEXT,
    },
    "readings": {
        "session": _TEXT,
        "channel": _WHOLE,
        "time_s": _REAL,
        "value": _REAL,
        "resolution": _REAL,
        "flags": _WHOLE,
    },
    "problems": {"session": _TEXT, "fingerprint": _TEXT, "problem": _TEXT},
}

Row = dict[str, object]
"""A row of a table: its columns' values."""

TABLES: dict[str, pa.Schema] = {
    name: pa.schema(list(columns.items()), metadata={VERSION_KEY: str(VERSION).encode()})
    for name, columns in _COLUMNS.items()
}
"""Each table's schema. A file is one table's rows of one month and vehicle kind."""


def key_of(table: str) -> str:
    """Return the column that says where a row comes from: the session's file, or the job's folder."""
    return "job" if table == "jobs" else "session"


def partition(when: datetime, vehicle_kind: str | None) -> str:
    """Return the folder of what was recorded at a time on a kind of vehicle, in a table's own folder.

    Capitals, spaces and signs of the kind count for nothing, and one that is a number gets a word before it: programs
    that read the folders' names would make a number of it in some months only.
    """
    kind = re.sub(r"[\W_]+", "-", (vehicle_kind or "").casefold()).strip("-")[:_LONGEST] or UNKNOWN
    kind = f"kind-{kind}" if re.fullmatch(r"[\d-]+(e\d+)?|nan|null|true|false|inf", kind) else kind
    month, named = PARTED_BY
    return f"{month}={when.astimezone(UTC):%Y-%m}/{named}={kind}"


def check_version(schema: pa.Schema, path: str) -> None:
    """Refuse a file of another version, or one that is no part of a dataset.

    Raises:
        DatasetError: it is.
    """
    version = (schema.metadata or {}).get(VERSION_KEY)
    if version is None:
        raise DatasetError(f"'{path}' is no dataset that 'meterlog collect' made: give another name")
    if version != str(VERSION).encode():
        raise DatasetError(f"'{path}' is a dataset of another version of meterlog: collect into a new one")
