"""Keeps what the sessions of a folder are in a file beside them, so that a list of thousands opens only what changed.

The index is never a truth of its own: a row counts only while its session's size and times are those it was read at.
Without the file, or where it is damaged or cannot be written, everything is read from the sessions.
"""

from __future__ import annotations

import gc
import json
import os
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from urllib.parse import quote

from meterlog import __version__
from meterlog.reading import Quantity
from meterlog.session.defences import GuardedConnection
from meterlog.session.files import SessionFile, stamped_files
from meterlog.session.summary import Summary, summarize

NAME = ".meterlog-index"

WORTH = 100
"""In a folder with fewer sessions no index is kept: to open them all takes 0.1 s; a choice."""

_AT_ONCE = 2_000
"""Sessions that are read between two writes: what a kill costs; a guess."""

_APPLICATION_ID = 0x6D6C6978  # "mlix"
_WAIT_S = 1.0
"""Time that another program may hold the index, s; after it this one goes without. A guess."""

_COLUMNS = "name, stamp, started_at, duration_s, readings, markers, ended, channels, details, words"
_TABLE = f"CREATE TABLE IF NOT EXISTS summary ({_COLUMNS}, PRIMARY KEY (name)) WITHOUT ROWID"

_Row = tuple[str, str, str, float, int, int, str, str, str, str]


def summaries(folder: Path) -> list[Summary]:
    """A summary of each session file of a folder, in no order; only what changed since the last time is opened.

    Raises:
        OSError: the folder cannot be read.
    """
    found = list(stamped_files(folder))
    known = indexed(folder, found)
    new = [one for one in found if one.path not in known]
    for at in range(0, len(new), _AT_ONCE):
        read = {one: summarize(Path(one.path)) for one in new[at : at + _AT_ONCE]}
        known |= {one.path: summary for one, summary in read.items()}
        remember(folder, found, read)
    return list(known.values())


def indexed(folder: Path, found: Iterable[SessionFile]) -> dict[str, Summary]:
    """Return what the index knows of session files as they are now, by their paths."""
    with uncollected():
        rows = _rows(folder)
        known = {}
        for one in found:
            row = rows.get(one.name)
            if row is not None and row[1] == _stamp(one) and (summary := _summary(one.path, row)):
                known[one.path] = summary
        return known


@contextmanager
def uncollected() -> Iterator[None]:
    """Inside, nothing looks for garbage: a long list leaves none, and every look goes through all of it again."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def remember(folder: Path, found: Iterable[SessionFile], read: Mapping[SessionFile, Summary]) -> None:
    """Put summaries into the index, and take out those of files that are gone; where it cannot be written, nothing is.

    Args:
        folder: where the sessions are.
        found: all of them.
        read: those that were read, with their stamps from before that.
    """
    rows = [_row(one, summary) for one, summary in read.items() if _lasts(summary)]
    names = {one.name for one in found} if rows else set()
    if len(names) < WORTH:
        return
    with _errors_passed_over(folder), closing(_open(folder, "rwc")) as connection:
        connection.execute("BEGIN IMMEDIATE")
        connection.execute(_TABLE)
        connection.execute(f"PRAGMA application_id = {_APPLICATION_ID}")
        gone = [(name,) for (name,) in connection.execute("SELECT name FROM summary") if name not in names]
        connection.executemany("DELETE FROM summary WHERE name = ?", gone)
        places = ", ".join("?" * len(_COLUMNS.split(",")))
        connection.executemany(f"INSERT OR REPLACE INTO summary VALUES ({places})", rows)
        connection.execute("COMMIT")


def _lasts(summary: Summary) -> bool:
    """Tell whether a summary is true as long as its file stays as it is; a path that is no text has no place."""
    return not summary.damage and summary.ended != "growing" and summary.name.isprintable()


def _open(folder: Path, mode: str) -> GuardedConnection:
    path = folder / NAME
    if path.is_symlink():
        raise sqlite3.OperationalError("a link: what it leads to is not ours")
    location = quote(str(path.absolute()).replace(os.sep, "/"), safe="/:")
    connection = sqlite3.connect(
        f"file:{location}?mode={mode}", uri=True, isolation_level=None, timeout=_WAIT_S, factory=GuardedConnection
    )
    try:
        connection.guard(str(path), write=mode != "ro")
        (application,) = connection.execute("PRAGMA application_id").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if tables and (tables, application) != (1, _APPLICATION_ID):
            raise sqlite3.DatabaseError("another program's file")
    except BaseException:
        connection.close()
        raise
    return connection


@contextmanager
def _errors_passed_over(folder: Path) -> Iterator[None]:
    """Go on without the index where it is missing, held or not to be written; where it is damaged, it goes."""
    try:
        yield
    except sqlite3.OperationalError:  # missing, held by another program, a full or read-only disk
        return
    except sqlite3.DatabaseError:
        with suppress(OSError):
            (folder / NAME).unlink()


def _stamp(one: SessionFile) -> str:
    return f"{__version__}/{one.stamp}"


def _rows(folder: Path) -> dict[str, _Row]:
    """Return the rows of the index by their names; none where there is no index."""
    rows: dict[str, _Row] = {}
    with _errors_passed_over(folder), closing(_open(folder, "ro")) as connection:
        for row in connection.execute(f"SELECT {_COLUMNS} FROM summary"):
            rows[row[0]] = row
    return rows


def _row(one: SessionFile, summary: Summary) -> _Row:
    assert summary.started_at is not None
    return (
        summary.name,
        _stamp(one),
        summary.started_at.isoformat(),
        summary.duration_s,
        summary.readings,
        summary.markers,
        summary.ended,
        _json(summary.channels),
        _json(dict(summary.details)),
        summary.words,
    )


def _json(value: object) -> str:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":"))


def _summary(path: str, row: _Row) -> Summary | None:
    """Return what a row says; None where that is no summary."""
    _, _, started_at, duration_s, readings, markers, ended, channels, details, words = row
    try:
        entered = {str(key): str(value) for key, value in json.loads(details).items()}
        figures = float(duration_s), int(readings), int(markers), str(ended)
        began = datetime.fromisoformat(started_at)
        return Summary(path, "", began, *figures, _channels(channels), entered, str(words))
    except (ValueError, TypeError, AttributeError):
        return None


@lru_cache(maxsize=1_000)
def _channels(told: str) -> tuple[tuple[str, Quantity], ...]:
    """Return the channels of a row; most sessions of a folder have those of another."""
    return tuple((str(label), Quantity(quantity)) for label, quantity in json.loads(told))
