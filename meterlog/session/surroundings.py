"""Judges a session file and what lies beside it before SQLite touches any of them.

SQLite opens what it finds beside a database by its name: a write-ahead log, its index, a rollback journal. A link or a
pipe of such a name would be followed, and a rollback journal may name a file elsewhere to delete. So nothing is opened
unless all of them are plain files, and a journal is one that undoes a change to this very file. (A stranger who can
write in the folder *while* it is read is not in view here: they need none of this.)
"""

from __future__ import annotations

import os
import stat
import struct
from pathlib import Path

from meterlog.errors import NotASession

BESIDE = ("journal", "wal", "shm", "recorder")
"""The endings of what may lie beside `NAME`, as `NAME-journal` and so on: SQLite's three, and the recorder's lock."""

SAFE_OPEN = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
"""Flags that open no link and wait for no pipe. Windows has no such pipes, and makes links for administrators only."""

_KINDS = (
    (stat.S_ISLNK, "a link"),
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISSOCK, "a socket"),
)

# The rollback journal: https://www.sqlite.org/fileformat2.html#the_rollback_journal; a journal of several databases
# ends in the name of their common one, its length, a check sum and the magic again (pager.c, readSuperJournal).
_JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")
_LEAST_PAGE = 512
_JOURNAL_HEADER = struct.Struct(">8sIIIII")
"""Magic, pages in the journal, nonce, pages of the file before the change, sector size, page size."""


def judge(path: Path) -> None:
    """Refuse a session that cannot be opened without touching something else. Opens nothing but a journal, to read.

    Raises:
        NotASession: absent, no plain file, or beside it lies what belongs to no session.
    """
    found = plain_stat(path)
    if found is None:
        raise NotASession(f"there is no file '{path}'", str(path))
    judge_beside(path)
    _judge_journal(path, found.st_size)


def judge_beside(path: Path) -> None:
    """Refuse what lies beside a session, or beside the name of one to be made, and is no plain file of its own.

    Raises:
        NotASession: there is such a thing.
    """
    for name in BESIDE:
        beside = path.with_name(f"{path.name}-{name}")
        try:
            found = beside.lstat()
        except OSError:  # absent, or the folder is: then the session is too
            continue
        kind = _other_kind(found) or ("another name of some file" if found.st_nlink > 1 else "")
        if kind:
            raise NotASession(
                f"'{path}' is not opened: '{beside.name}' beside it is {kind}, not a plain file; move it away first",
                str(path),
            )


def plain_stat(path: Path) -> os.stat_result | None:
    """Return what the system says of a plain file, without following a link; None where there is nothing.

    Raises:
        NotASession: it is something else, or cannot be looked at.
    """
    try:
        found = path.lstat()
    except FileNotFoundError:
        return None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise NotASession(f"'{path}' cannot be read: {reason}", str(path)) from error
    if kind := _other_kind(found):
        hint = ": give the name of the file that it leads to" if stat.S_ISLNK(found.st_mode) else ""
        raise NotASession(f"'{path}' is {kind}, not a session file{hint}", str(path))
    return found


def _other_kind(found: os.stat_result) -> str:
    """Name what a thing is that is no plain file; empty for one that is."""
    if stat.S_ISREG(found.st_mode):
        return ""
    return next((words for is_kind, words in _KINDS if is_kind(found.st_mode)), "a device")


def _judge_journal(path: Path, size: int) -> None:
    """Refuse a rollback journal that would do more than undo a change to this one file.

    A marker set in a finished session, and the moments when a recording begins and ends, make one: killed there, a
    program leaves a journal that belongs to the session, and opening undoes half a change.
    """
    try:
        handle = os.open(path.with_name(f"{path.name}-journal"), os.O_RDONLY | SAFE_OPEN)
    except OSError:  # nearly always: absent
        return
    with open(handle, "rb") as journal:
        head = journal.read(_JOURNAL_HEADER.size)
        journal.seek(max(os.fstat(journal.fileno()).st_size - len(_JOURNAL_MAGIC), 0))
        end = journal.read()
    if end == _JOURNAL_MAGIC and len(head) == _JOURNAL_HEADER.size:
        raise NotASession(
            f"'{path}' is not opened: the journal beside it belongs to several databases, which no session's does;"
            f" move '{path.name}-journal' away to open the session as it is",
            str(path),
        )
    if len(head) < _JOURNAL_HEADER.size or not head.startswith(_JOURNAL_MAGIC):
        return  # cut short before it mattered: SQLite undoes nothing by it
    _, _, _, pages, _, page_size = _JOURNAL_HEADER.unpack(head)
    if pages * max(page_size, _LEAST_PAGE) > size:  # 0 stands for the size of the file's own pages
        raise NotASession(
            f"'{path}' is not opened: the journal beside it belongs to a larger file;"
            f" move '{path.name}-journal' away to open the session as it is",
            str(path),
        )
