"""Finds the session files of a folder, and what tells that one has changed, without opening those that are named so."""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from meterlog.session.database import is_session

SUFFIXES = (".sqlite", ".db", ".meterlog")
"""Files so named are sessions, or said not to be; under any other name a session is known by its first bytes."""

BESIDE = ("-wal", "-journal")
"""Files that stand beside a session while it grows, and hold what is newest of it."""

_FIRST_BYTES = b"SQLite format 3\0"


class SessionFile(NamedTuple):
    """A session file as it was found.

    Attributes:
        path: the file.
        name: its name.
        stamp: changes whenever the file does, or what stands beside it while it grows.
        size: bytes of the file itself.
        changed_ns: when it was changed last, ns since 1970.
        is_link: whether it is a symbolic link to one.
    """

    path: str
    name: str
    stamp: str
    size: int
    changed_ns: int
    is_link: bool


def stamped_files(folder: Path | str) -> Iterator[SessionFile]:
    """The session files of a folder, in no order; other files and hidden ones are passed over.

    Raises:
        OSError: the folder cannot be read.
    """
    with os.scandir(folder) as found:
        entries = {entry.name: entry for entry in found}
    beside: defaultdict[str, list[os.DirEntry[str]]] = defaultdict(list)
    for name in sorted((name for name in entries if name.endswith(BESIDE)), reverse=True):
        beside[name.rpartition("-")[0]].append(entries[name])
    for name, entry in entries.items():
        if name.startswith(".") or not entry.is_file() or not _may_be_session(name, entry.path):
            continue
        states = [_state(one) for one in (entry, *beside.get(name, ()))]
        if states[0] is not None:  # it has gone meanwhile
            stamp = "/".join([stamp_of(one) for one in states if one is not None])
            yield SessionFile(entry.path, name, stamp, states[0].st_size, states[0].st_mtime_ns, entry.is_symlink())


def stamp_of(state: os.stat_result) -> str:
    """Return a text that changes whenever the file does."""
    return f"{state.st_size}:{state.st_mtime_ns}:{state.st_ctime_ns}"


def session_files(folder: Path) -> Iterator[Path]:
    """The paths of the session files of a folder, in no order."""
    return (Path(one.path) for one in stamped_files(folder))


def _may_be_session(name: str, path: str) -> bool:
    if name.endswith(SUFFIXES):
        return True
    try:
        with open(path, "rb") as file:
            first = file.read(len(_FIRST_BYTES))
    except OSError:
        return False
    return first == _FIRST_BYTES and is_session(Path(path))


def _state(entry: os.DirEntry[str]) -> os.stat_result | None:
    try:
        return entry.stat()
    except OSError:
        return None
