"""Tells a session whose write-ahead log was left behind: copied or renamed alone while it grew, or after a crash."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from contextlib import closing
from itertools import islice
from pathlib import Path

from meterlog.errors import SessionError
from meterlog.session.database import check_tables, connect
from meterlog.session.lock import is_recording, lock_path
from meterlog.session.surroundings import plain_stat

_MODE_AT, _WAL_MODE = 18, b"\x02"  # the file format's write version: https://www.sqlite.org/fileformat.html, 1.3
_MOST_TRIED = 20  # a guess: each copies the session
_LARGEST_TRIED_BYTES = 64 * 2**20
"""A session and a log larger than this together are not tried out on each other: copying takes too long (guess)."""


def is_log_lost(path: Path) -> bool:
    """Tell whether the session was left growing and its log is not beside it; False where it cannot be told.

    What SQLite would do then, begin a new log, would make the lost one useless.
    """
    try:
        with path.open("rb") as file:
            head = file.read(_MODE_AT + 1)
    except OSError:
        return False
    if head[_MODE_AT:] != _WAL_MODE or log_path(path).exists() or is_recording(path):
        return False
    try:
        with closing(connect(path, write=False, immutable=True)) as connection:
            check_tables(connection, path)
            growing = connection.execute("SELECT ended FROM recording").fetchone() == ("growing",)
            begun = connection.execute("SELECT EXISTS (SELECT 1 FROM channel)").fetchone() == (1,)
            # Killed just before it made its log, a recorder leaves its lock and a session without a channel.
            return growing and (begun or not lock_path(path).exists())
    except (sqlite3.Error, SessionError):  # whoever opens it says so
        return False


def where_the_log_is(path: Path) -> str:
    """Say which file has the last readings of a session that `is_log_lost`, and where to put it."""
    log = log_path(path).name
    logs = islice(sorted(path.parent.glob("*-wal")), _MOST_TRIED)
    found = next((one for one in logs if _is_log_of(path, one)), None)
    if found is not None:
        put = f"they are in '{found.name}' beside it: rename that to '{log}'"
    else:
        put = (
            f"they are in the file of its first name with -wal behind it, where it was recorded: put that beside it as"
            f" '{log}', or make an empty file of that name if it is gone for good"
        )
    return f"'{path}' was copied or renamed alone, or lost its log: its last readings (some 10 s) are not in it; {put}."


def log_path(path: Path) -> Path:
    """The write-ahead log of a session."""
    return path.with_name(f"{path.name}-wal")


def _is_log_of(path: Path, log: Path) -> bool:
    """Try a log that belongs to no file here on a copy of the session: whether the two are one sound session."""
    if log.with_name(log.name.removesuffix("-wal")).exists():
        return False
    try:
        found = plain_stat(log)
        if found is None or not 0 < found.st_size <= _LARGEST_TRIED_BYTES - path.stat().st_size:
            return False
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(shutil.copy(path, Path(folder) / "copy"))
            before = _contents(copy, write=False)
            shutil.copy(log, log_path(copy))
            after = _contents(copy, write=True)
    except (OSError, sqlite3.Error, SessionError):
        return False
    return all(after.get(key, value) == value for key, value in before.items())


def _contents(path: Path, *, write: bool) -> dict[tuple[object, ...], tuple[object, ...]]:
    """Return what a log of the same session leaves as it is, or takes away when it seals rows; the times differ in
    others.

    Raises:
        sqlite3.Error: the file is not sound.
        SessionError: its tables are not ours.
    """
    with closing(connect(path, write=write, immutable=not write)) as connection:
        check_tables(connection, path)
        if connection.execute("PRAGMA quick_check").fetchone() != ("ok",):
            raise sqlite3.DatabaseError("not sound")
        found: dict[tuple[object, ...], tuple[object, ...]] = {}
        for table, columns in (
            ("recording", "1, 1, started_at"),
            ("chunk", "channel, first, count, start_us, end_us"),
            ("reading", "channel, number, time_us, value"),
        ):
            for first, second, *rest in connection.execute(f"SELECT {columns} FROM {table}"):
                found[table, first, second] = tuple(rest)
        return found
