"""The recorder's side of the file: makes it, puts queued operations into transactions, leaves one plain file."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from meterlog import __version__
from meterlog.errors import SessionBusy, SessionWriteFailed
from meterlog.reading import Reading
from meterlog.series import Series
from meterlog.session.database import BUSY_TIMEOUT_S, KEPT, connect, is_locked, write_error, write_errors
from meterlog.session.model import Marker
from meterlog.session.schema import APPLICATION_ID, make_tables
from meterlog.session.tail import Tail

PAGE_BYTES = 1024
"""A reading that is committed alone puts its whole page into the log: SQLite's own 4096 bytes, which lie across two of
the disk's blocks, make 2.6 GB a day at three readings a second, 1024 make 1.8. Smaller still saves little, as no system
writes less than a block; reading is as fast."""

WAL_LIMIT_BYTES = 8 * 2**20
"""Beyond this the write-ahead log is emptied into the file; SQLite's own check does so at about 1 MiB (1000 pages)."""

TAKE_IN_S = 5.0
"""So often the log is taken into the file: a copy of the file alone lacks at most some 10 s, also where a reader delays
one time. It takes 0.4 to 4.4 ms, 0.3 ms of them the processor's (ten channels, 10 readings/s)."""


class Statement(NamedTuple):
    """Anything but readings."""

    sql: str
    values: tuple[object, ...]


class Batch(NamedTuple):
    """Readings as they came from a meter."""

    channel: int
    readings: Sequence[Reading]


class Bulk(NamedTuple):
    """Readings as arrays, their times from the session's start."""

    channel: int
    series: Series


class Mark(NamedTuple):
    """A marker, its time from the session's start."""

    time_s: float
    name: str
    note: str
    by: str


Operation = Statement | Batch | Bulk | Mark


class Commits:
    """A new session file, open for its recorder. Not thread-safe: the writer's commit thread owns it."""

    CLOSE_PATIENCE_S = 30.0
    """Time the end of a recording waits for another program that holds the file."""

    def __init__(self, path: Path, started_at: datetime, monotonic_start_s: float, details: Mapping[str, str]) -> None:
        """Make the file.

        Raises:
            SessionWriteFailed: it exists, or cannot be made there; nothing is left behind then.
        """
        self._path = path
        self._start_s = monotonic_start_s
        self._tails: dict[int, Tail] = {}
        self._beside = False  # whether the log has something that the file has not
        self._take_in_at_s = time.monotonic() + TAKE_IN_S
        self._changes = self._last_marker = 0  # SQLite's count of commits by others; the marker known last
        self._own_markers: set[int] = set()  # after that one
        _refuse_remains(path)
        with write_errors(path):
            try:
                self._handle = os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o666)
            except FileExistsError:
                raise SessionWriteFailed(
                    f"'{path}' exists already, and a session never overwrites a file: give another name", str(path)
                ) from None
        try:
            with write_errors(path):
                self._connection = connect(path, write=True)
                self._make(started_at, details)
        except BaseException as error:
            os.close(self._handle)
            path.unlink(missing_ok=True)
            path.with_name(f"{path.name}-journal").unlink(missing_ok=True)
            if isinstance(error, SessionWriteFailed):
                raise SessionWriteFailed(str(error).removesuffix(KEPT), str(path)) from error
            raise

    def _make(self, started_at: datetime, details: Mapping[str, str]) -> None:
        connection = self._connection
        # All in one transaction: a recorder that is killed here leaves an empty file, never half a session.
        connection.execute("BEGIN")
        connection.execute(f"PRAGMA page_size = {PAGE_BYTES}")
        connection.execute("PRAGMA auto_vacuum = INCREMENTAL")  # so that sealing's freed pages go at the end
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        make_tables(connection)
        connection.execute(
            "INSERT INTO recording VALUES (1, ?, ?, 'growing', ?)",
            (started_at.isoformat(), self._start_s, f"meterlog {__version__}"),
        )
        connection.executemany("INSERT INTO detail VALUES (?, ?)", details.items())
        connection.execute("COMMIT")
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")
        connection.execute("SELECT ended FROM recording").fetchone()  # makes the log: a file without one has lost it

    @property
    def times_held(self) -> int:
        """See `Tail.times_held`, over all channels."""
        return sum(tail.times_held for tail in self._tails.values())

    def check_file(self) -> None:
        """See that the file is still there: the system lets one write on into a removed file.

        Raises:
            SessionWriteFailed: the file or its folder was removed, renamed or moved; then the file is complete.
        """
        mine = os.fstat(self._handle)
        try:
            if os.path.samestat(mine, os.stat(self._path)):
                return
        except OSError:
            pass
        kept = ""
        if mine.st_nlink:  # it has another name, under which nobody would find its log
            self._checkpoint("TRUNCATE")
            kept = ": what was written until now is in it under its new name"
        where = str(self._path)
        raise SessionWriteFailed(
            f"'{self._path}' or its folder was removed or moved while it was being recorded{kept}", where
        )

    def begin(self) -> bool:
        """Open a transaction; False when another program holds the file just now.

        Raises:
            SessionWriteFailed: it cannot be written on.
        """
        self.check_file()
        try:
            self._connection.execute("BEGIN IMMEDIATE")
        except sqlite3.Error as error:
            if is_locked(error):
                return False
            raise write_error(self._path, error) from error
        return True

    def put(self, operations: Iterable[Operation]) -> None:
        """Do the operations and commit the transaction that `begin` opened.

        Raises:
            SessionWriteFailed: it cannot be written on; the transaction is undone.
        """
        connection = self._connection
        try:
            for operation in operations:
                if isinstance(operation, Statement):
                    connection.execute(operation.sql, operation.values)
                elif isinstance(operation, Mark):
                    self._set_marker(operation)
                else:
                    tail = self._tails.setdefault(operation.channel, Tail(operation.channel))
                    if isinstance(operation, Batch):
                        tail.append(connection, operation.readings, self._start_s)
                    else:
                        tail.append_series(connection, operation.series)
            connection.execute("COMMIT")
        except sqlite3.Error as error:
            self._undo()
            raise write_error(self._path, error) from error
        self._beside = True

    def _set_marker(self, mark: Mark) -> None:
        sql = "INSERT INTO marker (time_us, name, note, by) VALUES (?, ?, ?, ?)"
        values = (round(mark.time_s * 1e6), mark.name, mark.note, mark.by)
        self._own_markers.add(self._connection.execute(sql, values).lastrowid or 0)

    def markers_from_elsewhere(self) -> list[Marker]:
        """The markers that other processes have put into the file since the last call."""
        try:
            (changes,) = self._connection.execute("PRAGMA data_version").fetchone()
            if changes == self._changes:
                return []
            sql = "SELECT number, time_us, name, note, by FROM marker WHERE number > ? ORDER BY number"
            rows = self._connection.execute(sql, (self._last_marker,)).fetchall()
        except sqlite3.Error as error:
            if is_locked(error):  # the next call finds them
                return []
            raise write_error(self._path, error) from error
        self._changes = changes
        found = [Marker(number, us / 1e6, *texts) for number, us, *texts in rows if number not in self._own_markers]
        self._last_marker = max([self._last_marker, *(row[0] for row in rows)])
        self._own_markers.clear()
        return found

    def _undo(self) -> None:
        try:
            self._connection.execute("ROLLBACK")
        except sqlite3.Error:
            pass  # SQLite has rolled back by itself

    def take_in_log(self) -> None:
        """Take the log into the file where it is time to, and empty one that readers have kept from starting over.

        Raises:
            SessionWriteFailed: the file cannot be written on; what was committed stays in the log.
        """
        try:
            if _size(f"{self._path}-wal") > WAL_LIMIT_BYTES:
                self._checkpoint("TRUNCATE")
            elif self._beside and time.monotonic() >= self._take_in_at_s:
                self._take_in_at_s = time.monotonic() + TAKE_IN_S
                _, in_log, taken = self._checkpoint("PASSIVE")
                self._beside = taken < in_log
        except sqlite3.Error as error:
            raise write_error(self._path, error) from error

    def _checkpoint(self, how: str) -> tuple[int, int, int]:
        """Return whether somebody was in the way; the log's pages; those of them that are in the file."""
        self._connection.execute("PRAGMA busy_timeout = 100")
        busy, in_log, taken = self._connection.execute(f"PRAGMA wal_checkpoint({how})").fetchone()
        self._connection.execute(f"PRAGMA busy_timeout = {round(1000 * BUSY_TIMEOUT_S)}")
        return busy, in_log, taken

    def finish(self) -> None:
        """Seal the rest, note the clean end, leave one plain file, close.

        Raises:
            SessionWriteFailed: it cannot be written on; what was committed stays.
            SessionBusy: another program holds the file.
        """
        give_up = time.monotonic() + self.CLOSE_PATIENCE_S
        while not self.begin():
            if time.monotonic() > give_up:
                raise SessionBusy(f"'{self._path}' is held locked by another program", str(self._path))
        try:
            for tail in self._tails.values():
                tail.seal(self._connection)
            self._connection.execute("UPDATE recording SET ended = 'clean'")
            self._connection.execute("COMMIT")
            # Python steps a statement without columns once, which frees one page; a script runs to its end.
            self._connection.executescript("PRAGMA incremental_vacuum")
            leave_plain(self._connection)
        except sqlite3.Error as error:
            self._undo()
            raise write_error(self._path, error) from error

    def close(self) -> None:
        """Close the connection, whatever state it is in."""
        try:
            self._connection.close()
        except sqlite3.Error:
            pass  # the disk is gone: nothing more to be done, and what was committed is in the log
        os.close(self._handle)  # after SQLite: closing a handle of a file lets go of the process's locks on it


def _size(path: str) -> int:
    try:
        return os.path.getsize(path)
    except OSError:
        return 0


def _refuse_remains(path: Path) -> None:
    """Refuse to make a session where the log of another lies: SQLite would remove that, and the readings in it.

    Raises:
        SessionWriteFailed: there is one, and no session it belongs to.
    """
    for name in ("wal", "journal"):
        left = path.with_name(f"{path.name}-{name}")
        if not path.exists() and left.exists() and left.stat().st_size:
            raise SessionWriteFailed(
                f"'{path}' is not made: '{left.name}' of an earlier session lies there, perhaps with readings in it:"
                " move it to where that session is, or give another name",
                str(path),
            )


def leave_plain(connection: sqlite3.Connection) -> bool:
    """Empty the write-ahead log and do away with it; False when a reader is in the way (the next open does it)."""
    connection.execute("PRAGMA busy_timeout = 500")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    try:
        (mode,) = connection.execute("PRAGMA journal_mode = DELETE").fetchone()
    except sqlite3.OperationalError as error:
        if is_locked(error):
            return False
        raise
    return str(mode) == "delete"
