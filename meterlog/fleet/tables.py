"""The tables of a dataset: their columns, types and units, and the version of all that."""

from __future__ import annotations

import pyarrow as pa

from meterlog.errors import DatasetError

VERSION = 1
"""Of the schema: a column that is added keeps it, one that changes its name, type or meaning raises it."""

VERSION_KEY = b"meterlog.dataset"
"""The key of the version in the metadata of each file."""

MONTH = "month"
"""The column that a table is parted by: in the names of the folders, not in the files."""

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
    "problems": {"session": _TEXT, "fingerprint": _TEXT, "problem": _TEXT},
}

TABLES: dict[str, pa.Schema] = {
    name: pa.schema(list(columns.items()), metadata={VERSION_KEY: str(VERSION).encode()})
    for name, columns in _COLUMNS.items()
}
"""Each table's schema. A file is one table's rows of one month."""


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
