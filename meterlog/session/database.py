"""Opens session files, and turns what SQLite says into our errors: the only place that knows its codes."""

from __future__ import annotations

import os
import sqlite3
import struct
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import quote

from meterlog.errors import (
    MeterlogError,
    NewerSession,
    NotASession,
    SessionBusy,
    SessionError,
    SessionWriteFailed,
    UsageError,
)
from meterlog.session.cells import LONGEST_TEXT
from meterlog.session.defences import GuardedConnection
from meterlog.session.lock import is_recording
from meterlog.session.schema import APPLICATION_ID, LATEST
from meterlog.session.structure import check_structure
from meterlog.session.surroundings import SAFE_OPEN, judge

BUSY_TIMEOUT_S = 5.0
"""Time one writer waits for another (a marker from outside holds the file for milliseconds)."""

KEPT = ": what was written until now is kept in it"
"""The end of what is said where a session cannot be written on."""

_LOGGED = 2  # https://www.sqlite.org/fileformat2.html#file_format_version_numbers
_MAGIC = b"SQLite format 3\x00"


def connect(path: Path, *, write: bool, immutable: bool = False) -> GuardedConnection:
    """A connection with transactions by hand, usable from any one thread at a time; `check_header` comes before it."""
    mode = "mode=rw" if write else "mode=ro" + ("&immutable=1" if immutable else "")
    location = quote(str(path.absolute()).replace(os.sep, "/"), safe="/:")
    connection = sqlite3.connect(
        f"file:{location}?{mode}",
        uri=True,
        isolation_level=None,
        check_same_thread=False,
        timeout=BUSY_TIMEOUT_S,
        factory=GuardedConnection,
    )
    connection.guard(str(path), write=write)
    return connection


def check_header(path: Path) -> bool:
    """Refuse what is no session, and what cannot be opened without touching something else, before SQLite touches it.

    Returns:
        Whether it says that its changes go through a write-ahead log.

    Raises:
        NotASession: absent, a folder, empty, unreadable, or something else.
        SessionBusy: its recorder is just making it.
    """
    judge(path)
    name = f"'{path}'"
    try:
        with open(os.open(path, os.O_RDONLY | SAFE_OPEN), "rb") as file:
            head = file.read(100)
    except FileNotFoundError:
        raise NotASession(f"there is no file {name}", str(path)) from None
    except OSError as error:
        raise NotASession(f"{name} cannot be read: {error.strerror}", str(path)) from error
    if not head:
        raise not_begun(path)
    if not head.startswith(_MAGIC) or len(head) < 100:
        raise NotASession(f"{name} is not a session file", str(path))
    if struct.unpack_from(">I", head, 68)[0] != APPLICATION_ID:
        raise NotASession(f"{name} is a database of another program, not a session", str(path))
    return _LOGGED in head[18:20]


def open_to_read(path: Path, *, logged: bool) -> tuple[GuardedConnection, int]:
    """A connection that changes nothing, and the version of the tables; `logged` is what `check_header` found.

    Raises:
        sqlite3.Error: the file or its folder is damaged, locked, or cannot be read.
        SessionError: as `check_tables`.
    """
    # What is at rest but says that it has a log would be given one; so it is opened as a file that nobody writes, and
    # so is a clean file in a folder that cannot be written.
    alone = not path.with_name(f"{path.name}-wal").exists()
    for immutable in (True,) if logged and alone and not is_recording(path) else (False, True):
        connection = connect(path, write=False, immutable=immutable)
        try:
            return connection, check_tables(connection, path)
        except sqlite3.OperationalError as error:
            connection.close()
            if immutable or not alone or _primary_code(error) != sqlite3.SQLITE_CANTOPEN:
                raise
        except BaseException:
            connection.close()
            raise
    raise AssertionError("unreachable")


def is_session(path: Path) -> bool:
    """Tell whether the first bytes are a session's, whatever the file is called."""
    try:
        check_header(path)
    except SessionError:
        return False
    return True


def check_tables(connection: sqlite3.Connection, path: Path) -> int:
    """The version of the tables, which are exactly those that we make.

    Raises:
        NewerSession: this program does not know it.
        NotASession: its recording never began, or there is more in it.
        SessionBusy: its recorder is just making it.
    """
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > LATEST:
        raise NewerSession(
            f"'{path}' was written by a later version of meterlog (format {version}; this one knows {LATEST}):"
            " update meterlog to read it",
            str(path),
        )
    if version < 1:
        raise not_begun(path)
    check_structure(connection, path, version)
    return version


def not_begun(path: Path) -> SessionError:
    """Return the sentence about a file that a recorder has made and not yet written anything in."""
    if is_recording(path):
        return SessionBusy(f"'{path}' is just being made: look again in a moment", str(path))
    return NotASession(f"'{path}' is empty: it is no session, or its recording never began", str(path))


def check_texts(values: Iterable[object]) -> None:
    """Refuse what a file of text cannot hold: bytes of a command line or a name that are no UTF-8.

    Raises:
        UsageError: a text has such bytes.
    """
    for value in values:
        if isinstance(value, str) and len(value) > LONGEST_TEXT:
            raise UsageError(f"a text of {len(value)} characters is too long for a session: it holds {LONGEST_TEXT}")
        if isinstance(value, str) and not value.isascii():
            try:
                value.encode()
            except UnicodeEncodeError:
                raise UsageError(f"{value!r} is no text in UTF-8, so a session cannot hold it") from None


@contextmanager
def read_errors(path: Path) -> Iterator[None]:
    """Inside, everything that a damaged or missing file makes SQLite or the codec raise becomes a `SessionError`."""
    try:
        yield
    except sqlite3.Error as error:
        raise _read_error(path, error) from error
    except (ValueError, OverflowError, TypeError) as error:
        if isinstance(error, MeterlogError):
            raise
        raise NotASession(f"'{path}' is damaged and cannot be read ({error})", str(path)) from error


def _read_error(path: Path, error: sqlite3.Error) -> SessionError:
    code = _primary_code(error)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return SessionBusy(f"'{path}' is locked by another program: try again in a moment", str(path))
    if code == sqlite3.SQLITE_READONLY:
        return NotASession(
            f"'{path}' was left in the middle of a change: copy it, with the files named like it, to a folder"
            " that can be written, and open it there",
            str(path),
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        if not path.exists():
            return NotASession(f"there is no file '{path}'", str(path))
        return NotASession(
            f"'{path}' cannot be opened where it is: copy it, with the files named like it, to a folder"
            " that can be written, and open it there",
            str(path),
        )
    return NotASession(f"'{path}' is damaged and cannot be read ({_in_one_line(error)})", str(path))


@contextmanager
def write_errors(path: Path) -> Iterator[None]:
    """Inside, everything that keeps SQLite or the system from writing becomes a `SessionWriteFailed`."""
    try:
        yield
    except (sqlite3.Error, OSError) as error:
        if isinstance(error, SessionError):
            raise
        raise write_error(path, error) from error


def write_error(path: Path, error: sqlite3.Error | OSError) -> SessionError:
    """Return what to tell a person when writing failed."""
    where = str(path)
    folder = path.absolute().parent
    if not folder.is_dir():
        return SessionWriteFailed(f"'{path}' cannot be written: the folder '{folder}' is not there", where)
    if isinstance(error, OSError):
        return SessionWriteFailed(f"'{path}' cannot be written: {error.strerror or error}", where)
    code = _primary_code(error)
    if code == sqlite3.SQLITE_FULL:
        return SessionWriteFailed(f"the disk that holds '{path}' is full{KEPT}", where)
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return SessionBusy(f"'{path}' is locked by another program: try again in a moment", where)
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_CANTOPEN):
        return SessionWriteFailed(f"'{path}' cannot be written: its folder or the file itself is read-only", where)
    if code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return NotASession(f"'{path}' is damaged and cannot be written ({_in_one_line(error)})", where)
    return SessionWriteFailed(f"'{path}' cannot be written on ({_in_one_line(error)}){KEPT}", where)


def is_locked(error: sqlite3.Error) -> bool:
    """Tell whether another connection was in the way: worth another try."""
    return _primary_code(error) in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)


def _in_one_line(error: sqlite3.Error) -> str:
    """SQLite may quote whole table definitions."""
    text = " ".join(str(error).split())
    return text if len(text) <= 80 else f"{text[:77]}..."


def _primary_code(error: sqlite3.Error) -> int:
    code = getattr(error, "sqlite_errorcode", None)  # absent on what the Python layer itself raises
    return -1 if code is None else int(code) & 0xFF
