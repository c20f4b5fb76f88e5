"""Says what one session or job, or several, adds to each table of a dataset."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow as pa

from meterlog.archive import unpacked
from meterlog.details import entered_number
from meterlog.errors import MeterlogError, NotFetched, SessionBusy, SessionError
from meterlog.fleet.jobs import job_row
from meterlog.fleet.measures import measures_of
from meterlog.fleet.sources import WITH_READINGS, Found
from meterlog.fleet.tables import PARTITION, TABLES, Row, partition
from meterlog.loaded import Loaded, load

Rows = dict[str, list[Row]]


def extract(files: Sequence[Found]) -> dict[str, pa.Table]:
    """Read and analyze sessions and jobs.

    Returns:
        The rows of each table, with their partition. What cannot be read is a row of `problems`.
    """
    rows: Rows = {name: [] for name in TABLES}
    readings = [_NO_READINGS]
    for file in files:
        try:
            with _on_this_machine(file) as path:
                some, its_readings = _read(file, path)
        except (NotFetched, SessionError, OSError) as error:  # it cannot be fetched or unpacked
            copy = Path(error.path) if file.fetch and isinstance(error, SessionError) else None
            some, its_readings = _problem(file, error, copy), _NO_READINGS
        readings.append(its_readings)
        for name, more in some.items():
            rows[name] += more
    made = {name: pa.Table.from_pylist(some, schema=_with_partition(TABLES[name])) for name, some in rows.items()}
    return made | {"readings": pa.concat_tables(readings)}


@contextmanager
def _on_this_machine(file: Found) -> Iterator[Path]:
    """Inside, a session or a job's folder lies on a disk: where it is, fetched from object storage, or unpacked."""
    path = Path(file.path)
    with ExitStack() as inside:
        if file.fetch:
            from meterlog.fleet.storage import fetched  # of an extra

            folder = inside.enter_context(fetched(file.path, file.fetch))
            path = folder if file.is_job else folder / file.fetch[0]
        yield inside.enter_context(unpacked(path)) if file.is_packed else path


def _read(file: Found, path: Path) -> tuple[Rows, pa.Table]:
    """The rows of a session or job, and its readings where they are wanted."""
    try:
        if file.is_job:
            return {"jobs": [job_row(file, path)]}, _NO_READINGS
        session = load(path)
        rows = _rows(session, file)
        wanted = file.fingerprint.endswith(WITH_READINGS)
        return rows, _readings(session, rows["sessions"][0]) if wanted else _NO_READINGS
    except Exception as error:  # one session in a hundred thousand must not end the rest: it is told instead
        return _problem(file, error, path), _NO_READINGS


def _with_partition(schema: pa.Schema) -> pa.Schema:
    return schema.append(pa.field(PARTITION, pa.string()))


_NO_READINGS = _with_partition(TABLES["readings"]).empty_table()


def _readings(session: Loaded, row: Row) -> pa.Table:
    """Every reading of a session; overload is infinite, and its flag says so."""
    parts = [_NO_READINGS]
    for channel in session.measured:
        series = session.series(channel.number)
        columns = {
            "session": pa.array([row["session"]]).take(pa.array(np.zeros(len(series), "i8"))),
            "channel": np.full(len(series), channel.number, "i8"),
            "time_s": series.time_s,
            "value": series.value,
            "resolution": series.resolution.astype("f8"),
            "flags": series.flags.astype("i8"),
            PARTITION: pa.array([row[PARTITION]]).take(pa.array(np.zeros(len(series), "i8"))),
        }
        parts.append(pa.table(columns, schema=_NO_READINGS.schema))
    return pa.concat_tables(parts)


def _problem(file: Found, error: Exception, path: Path | None = None) -> Rows:
    """The row about what cannot be read; what may be read another time is tried again whenever there is one."""
    try:
        changed = datetime.fromtimestamp(os.stat(file.path).st_mtime, UTC)
    except OSError:  # it has gone meanwhile, or lies on object storage
        changed = datetime.now(UTC)
    known = isinstance(error, MeterlogError)
    problem = str(error) if known else f"it cannot be analyzed ({type(error).__name__}: {error})"
    problem = problem.replace(str(path), file.name) if path else problem
    said = " ".join(problem.encode("utf-8", "backslashreplace").decode().split())
    passing = isinstance(error, NotFetched | SessionBusy) or (isinstance(error, OSError) and not known)
    fingerprint = "" if passing else file.fingerprint
    row: Row = {"session": file.name, "fingerprint": fingerprint, "problem": said}
    return {"problems": [row | {PARTITION: partition(changed, None)}]}


def _rows(session: Loaded, file: Found) -> Rows:
    analysis = session.analysis
    started_at = session.started_at.astimezone(UTC)
    every: Row = {"session": file.name, PARTITION: partition(started_at, session.details.get("vehicle_kind"))}
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
