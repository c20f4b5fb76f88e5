"""Says what one session, or several, adds to each table of a dataset."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa

from meterlog import __version__
from meterlog.details import entered_number
from meterlog.errors import MeterlogError
from meterlog.fleet.measures import measures_of
from meterlog.fleet.tables import MONTH, TABLES
from meterlog.loaded import Loaded, load

Row = dict[str, object]
Rows = dict[str, list[Row]]

_BESIDE = ("-wal", "-journal")
"""Files that stand beside a session while it grows, and hold what is newest of it."""


class Found(NamedTuple):
    """A session file as it was found.

    Attributes:
        path: the file.
        session: its path as it stands in the tables.
        fingerprint: changes whenever the file does, or the version that reads it.
    """

    path: Path
    session: str
    fingerprint: str


def found(path: Path) -> Found | None:
    """Return a session file as it stands now; None where it has gone meanwhile."""
    parts = [__version__]
    for suffix in ("", *_BESIDE):
        try:
            state = path.with_name(path.name + suffix).stat()
        except OSError:
            if not suffix:
                return None
            continue
        parts.append(f"{state.st_size}:{state.st_mtime_ns}:{state.st_ctime_ns}")
    # A name that is no text in UTF-8 has a place in the tables too.
    return Found(path, str(path).encode("utf-8", "backslashreplace").decode(), "/".join(parts))


def extract(files: Sequence[Found]) -> dict[str, pa.Table]:
    """Read and analyze sessions.

    Returns:
        The rows of each table, with their month. A session that cannot be read is a row of `problems`.
    """
    rows: Rows = {name: [] for name in TABLES}
    for file in files:
        for name, some in _rows_of(file).items():
            rows[name] += some
    return {
        name: pa.Table.from_pylist(some, schema=TABLES[name].append(pa.field(MONTH, pa.string())))
        for name, some in rows.items()
    }


def _rows_of(file: Found) -> Rows:
    try:
        return _rows(load(file.path), file)
    except MeterlogError as error:
        problem = str(error)
    except Exception as error:  # one session in a hundred thousand must not end the rest: it is told instead
        problem = f"it cannot be analyzed ({type(error).__name__}: {error})"
    changed = datetime.fromtimestamp(file.path.stat().st_mtime, UTC) if file.path.exists() else datetime.now(UTC)
    said = " ".join(problem.encode("utf-8", "backslashreplace").decode().split())
    return {
        "problems": [
            {"session": file.session, "fingerprint": file.fingerprint, "problem": said, MONTH: f"{changed:%Y-%m}"}
        ]
    }


def _rows(session: Loaded, file: Found) -> Rows:
    analysis = session.analysis
    started_at = session.started_at.astimezone(UTC)
    every: Row = {"session": file.session, MONTH: f"{started_at:%Y-%m}"}
    conditions: Row = {
        "started_at": started_at,
        "vehicle": session.details.get("vehicle"),
        "system_v": entered_number(session.details, "system_v"),
        "temperature_c": entered_number(session.details, "temperature_c"),
    }
    return {
        "sessions": [
            every
            | conditions
            | {
                # A growing session is read again next time: that it was cut short changes nothing in its file.
                "fingerprint": "" if session.ended == "growing" else file.fingerprint,
                "duration_s": session.duration_s,
                "ended": session.ended,
                "readings": sum(summary.readings for summary in analysis.channels),
                "details": json.dumps(dict(session.details), ensure_ascii=False, sort_keys=True),
            }
        ],
        "channels": [
            every | summary.as_json() | {"point": summary.channel.point, "driver": summary.channel.driver}
            for summary in analysis.channels
        ],
        "events": _numbered(every, [event.as_json() for event in analysis.events]),
        "findings": _numbered(every, [one.as_json() | {"channel": one.channel} for one in analysis.findings]),
        "measures": _numbered(
            every | conditions,
            [
                {
                    "channel": one.channel.number,
                    "label": one.channel.label,
                    "quantity": str(one.channel.quantity),
                    "role": str(one.channel.measurand.role),
                    "measure": one.measure,
                    "part": one.part,
                    "start_s": one.start_s,
                    "value": one.value,
                    "error": one.error,
                    "unit": one.unit,
                }
                for one in measures_of(session)
                if math.isfinite(one.value) and math.isfinite(one.error)
            ],
        ),
        "markers": [
            every | {"number": m.number, "time_s": m.time_s, "name": m.name, "note": m.note, "by": m.by}
            for m in session.markers
        ],
    }


def _numbered(every: Row, rows: Sequence[Row]) -> list[Row]:
    return [every | row | {"number": number} for number, row in enumerate(rows, 1)]
