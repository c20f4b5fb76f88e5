"""Brings a session whose recorder is gone to rest: notes a hard end, makes one plain file of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from itertools import pairwise
from pathlib import Path

from meterlog.errors import SessionError
from meterlog.session.cells import MOST_CHANNELS
from meterlog.session.checks import Row
from meterlog.session.commits import leave_plain
from meterlog.session.database import check_tables, connect
from meterlog.session.defences import GuardedConnection
from meterlog.session.lock import RecorderLock, is_recording
from meterlog.session.log_check import is_log_damaged
from meterlog.session.lost_log import is_log_lost
from meterlog.session.schema import CHUNK_READINGS, LATEST
from meterlog.session.stored import Stored
from meterlog.session.tail import arrays, insert_chunk


def settle(path: Path) -> None:
    """Do what is left to do on a session that nobody records any more.

    After a crash what was committed is in the write-ahead log beside the file: SQLite recovers it, and here it
    goes into the file, its tail sealed, so that the one file is the session again. A change that a crash cut short (a
    marker in a finished session) is undone by the journal beside the file. Where the folder cannot be written, or
    another reader is in the way, all stays as it is and reads the same.
    """
    if is_recording(path) or is_log_lost(path):
        return
    try:
        if not _has_leftovers(path) and _is_at_rest(path):
            return
        if not _beside(path, "journal").exists():
            _check_unopened(path)
        lock = RecorderLock(path, patience_s=0.0)
    except (OSError, SessionError, sqlite3.Error, ValueError):
        return  # the reader that follows says so
    try:
        _settle_locked(path)
    except (OSError, SessionError, sqlite3.Error, ValueError):
        pass  # damaged or read-only: the reader that follows says so
    finally:
        lock.release()


def _has_leftovers(path: Path) -> bool:
    """Tell whether a killed program has left something beside the session: a log to take in or to undo, or its lock."""
    return any(_beside(path, left).exists() for left in ("wal", "journal", "recorder"))


def _beside(path: Path, name: str) -> Path:
    return path.with_name(f"{path.name}-{name}")


def _check_unopened(path: Path) -> None:
    """Look at the tables of the file itself before what lies beside it comes in.

    Raises:
        SessionError: they are not ours, so nothing is to be written.
    """
    with closing(connect(path, write=False, immutable=True)) as connection, suppress(sqlite3.DatabaseError):
        check_tables(connection, path)  # without its log a sound file may look damaged, but its tables are there


def _is_at_rest(path: Path) -> bool:
    connection = connect(path, write=False, immutable=True)  # there is no log, and else SQLite might make one
    try:
        check_tables(connection, path)
        (ended,) = connection.execute("SELECT ended FROM recording").fetchone() or ("",)
        return bool(ended != "growing")
    finally:
        connection.close()


def _seal_tails(connection: GuardedConnection) -> None:
    """Make chunks of the tail's sound readings. What fails its check sum stays a row, where every reader counts it."""
    stored = Stored(LATEST)
    for (channel,) in connection.rows("SELECT number FROM channel ORDER BY number", most=MOST_CHANNELS):
        sql = f"SELECT {stored.columns.reading} FROM reading WHERE channel = ? ORDER BY number"
        found = stored.sound_rows(connection.rows(sql, channel, most=CHUNK_READINGS))
        rows = [Row(*cells[:-1]) for cells in found]
        if any(after.time_us < before.time_us for before, after in pairwise(rows)):
            raise ValueError("its times go back")  # none of ours: the reader that follows says so
        # A chunk's readings follow each other without a gap.
        starts = [i for i, row in enumerate(rows) if not i or row.number != rows[i - 1].number + 1]
        for start, end in pairwise([*starts, len(rows)]):
            insert_chunk(connection, channel, rows[start].number, *arrays(rows[start:end]))
        sql = "DELETE FROM reading WHERE channel = ? AND number = ?"
        connection.executemany(sql, ((channel, row.number) for row in rows))


def _settle_locked(path: Path) -> None:
    log_damaged = is_log_damaged(_beside(path, "wal"))
    connection = connect(path, write=True)
    try:
        version = check_tables(connection, path)
        if _beside(path, "journal").exists():
            # One that was cut short before it mattered stays for ever, unless something is written.
            connection.execute(f"PRAGMA user_version = {version}")
        connection.execute("BEGIN IMMEDIATE")
        if version > 1:
            _seal_tails(connection)
        ended = "damaged" if log_damaged else "hard"
        connection.execute("UPDATE recording SET ended = ? WHERE ended = 'growing'", (ended,))
        connection.execute("COMMIT")
        leave_plain(connection)
    finally:
        connection.close()
