"""The sessions that the page has open, in memory: read once, analyzed once, and again when their files change."""

from __future__ import annotations

import threading
from collections import OrderedDict
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.session.reader import open_reader
from meterlog_dashboard.session_files.folder import SessionFolder

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

Stamp = tuple[int, ...]
"""Figures that change with a file."""

_SESSIONS_KEPT = 8
"""A suspect with its known-good, and what was looked at before; a guess."""


class SessionCache:
    """The sessions of a folder that the page has open. Usable from any thread."""

    def __init__(self, folder: SessionFolder) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._kept: OrderedDict[Path, tuple[Stamp, Loaded]] = OrderedDict()

    def loaded(self, name: str) -> Loaded:
        """A session in memory.

        Raises:
            NotASession: there is none of that name, or it cannot be read.
        """
        path = self._folder.file(name)
        stamp = stamp_of(path)
        with self._lock:
            if path in self._kept and self._kept[path][0] == stamp:
                self._kept.move_to_end(path)
                return self._kept[path][1]
        loaded = read(path)
        with self._lock:
            self._kept[path] = (stamp, loaded)
            self._kept.move_to_end(path)
            while len(self._kept) > _SESSIONS_KEPT:
                self._kept.popitem(last=False)
        return loaded

    def measured(self, name: str) -> Loaded:
        """A session in memory that is to be compared or reported.

        Raises:
            NotASession: there is none of that name, or it cannot be read.
            EmptySession: it holds no readings.
        """
        loaded = self.loaded(name)
        loaded.need_readings()
        return loaded


def read(path: Path) -> Loaded:
    """A session, read into memory and not kept.

    Raises:
        NotASession: it cannot be read.
    """
    from meterlog.loaded import Loaded

    with open_reader(path) as reader:
        return Loaded.of(reader)


def stamp_of(path: Path) -> Stamp:
    """Figures that change whenever the file or its write-ahead log does."""
    found: list[int] = []
    for one in (path, path.with_name(f"{path.name}-wal")):
        try:
            status = one.stat()
        except FileNotFoundError:
            found += [0, 0]
        else:
            found += [status.st_mtime_ns, status.st_size]
    return tuple(found)
