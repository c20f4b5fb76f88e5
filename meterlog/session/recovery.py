"""Brings a session whose recorder is gone to rest: notes a hard end, makes one plain file of it."""

from __future__ import annotations

import sqlite3
from contextlib import closing, suppress
from pathlib import Path

from meterlog.errors import SessionError
from meterlog.session.commits import leave_plain
from meterlog.session.database import check_tables, connect
from meterlog.session.lock import RecorderLock, is_recording
from meterlog.session.lost_log import is_log_lost


def settle(path: Path) -> None:
    """Do what is left to do on a session that nobody records any more.

    After a crash what was committed is in the write-ahead log beside the file: SQLite recovers it, and here it
    goes into the file, so that the one file is the session again. A change that a crash cut short (a
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
    except (OSError, SessionError, sqlite3.Error):
        return  # the reader that follows says so
    try:
        _settle_locked(path)
    except (OSError, SessionError, sqlite3.Error):
        pass  # damaged or read-only: the reader that follows says so
    finally:
        lock.release()


def _has_leftovers(path: Path) -> bool:
    """Whether a killed program has left something beside the session: a log to take in or to undo, or its lock."""
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


def _settle_locked(path: Path) -> None:
    connection = connect(path, write=True)
    try:
        version = check_tables(connection, path)
        if _beside(path, "journal").exists():
            # One that was cut short before it mattered stays for ever, unless something is written.
            connection.execute(f"PRAGMA user_version = {version}")
        connection.execute("UPDATE recording SET ended = 'hard' WHERE ended = 'growing'")
        leave_plain(connection)
    finally:
        connection.close()
