"""The list of a folder's sessions, kept in memory: the newest files at once, thousands of others soon after.

To know what a session is means to open its file, which takes half a millisecond. So the first question is answered from
the newest files, a thread of its own reads the others, and later only files that changed are read again.
"""

from __future__ import annotations

import math
import os
import threading
import time
from collections.abc import Iterable
from pathlib import Path

from meterlog.session.names import SUFFIX
from meterlog.session.summary import Summary, summarize
from meterlog_dashboard.session_files.folder import lies_in

Stamp = tuple[int, ...]

_AT_ONCE = 200
"""Files that the first answer waits for: 0.1 s."""
_PAUSE_S = 0.001
"""After each file that is read beside: what a person waits for comes first."""


class SessionList:
    """Summaries of the session files of one folder. Usable from any thread.

    Args:
        folder: where they are.
        at_once: how many files a first look reads before it answers.
    """

    def __init__(self, folder: Path, at_once: int = _AT_ONCE) -> None:
        self._folder, self._at_once = folder, at_once
        self._known: dict[Path, tuple[Stamp, Summary]] = {}
        self._lock = threading.Lock()
        self._reading = threading.Lock()
        self._reader: threading.Thread | None = None
        self._told: tuple[float, list[Summary]] = (-math.inf, [])

    def all(self) -> list[Summary]:
        """Every session, newest first, damaged ones last; waits until all are read."""
        with self._reading:
            found = stamps(self._folder)
            self._read(self._unread(found))
        return self._sorted(found)

    def so_far(self, age_s: float = 0.0) -> tuple[list[Summary], int]:
        """The sessions that are known, in the same order, and how many files are still to be read.

        The newest files are among them; the others are read in the background from now on.

        Args:
            age_s: accept an answer up to this old, s, once all are read: a search asks at every letter.
        """
        told_s, told = self._told
        if time.monotonic() - told_s < age_s:
            return told, 0
        found = stamps(self._folder)
        unread = self._unread(found)
        if len(unread) <= self._at_once or not self._known:
            self._read(unread[: self._at_once])
            unread = unread[self._at_once :]
        if unread:
            self.read_on()
        listed = self._sorted(found)
        if not unread:
            self._told = time.monotonic(), listed
        return listed, len(unread)

    def read_on(self) -> None:
        """Read what is not known yet in a thread of its own."""
        with self._lock:
            if self._reader is None or not self._reader.is_alive():
                self._reader = threading.Thread(target=self._read_gently, name="list of sessions", daemon=True)
                self._reader.start()

    def _read_gently(self) -> None:
        with self._reading:
            self._read(self._unread(stamps(self._folder)), _PAUSE_S)

    def _unread(self, found: dict[Path, Stamp]) -> list[tuple[Path, Stamp]]:
        """The files that are new or changed, or grow without showing it; the newest first."""
        with self._lock:
            known = {path: stamp for path, (stamp, summary) in self._known.items() if summary.ended != "growing"}
            for path in self._known.keys() - found.keys():
                del self._known[path]
        unread = [(path, stamp) for path, stamp in found.items() if known.get(path) != stamp]
        return sorted(unread, key=lambda one: one[1][0], reverse=True)

    def _read(self, unread: Iterable[tuple[Path, Stamp]], pause_s: float = 0.0) -> None:
        for path, stamp in unread:
            summary = summarize(path)
            with self._lock:
                self._known[path] = stamp, summary
            if pause_s:
                time.sleep(pause_s)

    def _sorted(self, found: dict[Path, Stamp]) -> list[Summary]:
        with self._lock:
            known = [summary for path, (_, summary) in self._known.items() if path in found]
        return sorted(known, key=_newest_first)


def stamps(folder: Path) -> dict[Path, Stamp]:
    """For each session file what changes whenever it or its write-ahead log does; its time of change comes first."""
    sizes: dict[str, tuple[int, int]] = {}
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.name.endswith((SUFFIX, f"{SUFFIX}-wal")) and not entry.name.startswith("."):
                try:
                    status = entry.stat()
                except FileNotFoundError:
                    continue
                if entry.is_file() and (not entry.is_symlink() or lies_in(Path(entry.path), folder)):
                    sizes[entry.name] = status.st_mtime_ns, status.st_size
    return {
        folder / name: (*size, *sizes.get(f"{name}-wal", (0, 0)))
        for name, size in sizes.items()
        if name.endswith(SUFFIX)
    }


def _newest_first(summary: Summary) -> tuple[bool, float, str]:
    began = summary.started_at.timestamp() if summary.started_at else 0.0
    return summary.started_at is None, -began, summary.path.name
