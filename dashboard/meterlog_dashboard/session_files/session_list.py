"""The list of a folder's sessions, kept in memory: the newest files at once, thousands of others soon after.

To know what a session is means to open its file, which takes half a millisecond. So the first question is answered from
the folder's index and the newest files, a thread of its own reads the others, and later only files that changed are
read again.
"""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterable
from pathlib import Path

from meterlog.session.files import SessionFile, stamped_files
from meterlog.session.folder_index import indexed, remember
from meterlog.session.names import SUFFIX
from meterlog.session.summary import Summary, summarize
from meterlog_dashboard.session_files.folder import lies_in

_AT_ONCE = 200
"""Files that the first answer waits for: 0.1 s."""
_AT_LEISURE = 2_000
"""Sessions beyond which a search is answered from the list as it is, while a thread looks what has changed: to look
takes 10 us a file; a choice."""
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
        self._known: dict[str, tuple[SessionFile, Summary]] = {}
        self._lock = threading.Lock()
        self._reading = threading.Lock()
        self._reader: threading.Thread | None = None
        self._told: tuple[float, list[Summary]] = (-math.inf, [])

    def all(self) -> list[Summary]:
        """Every session, newest first, damaged ones last; waits until all are read."""
        with self._reading:
            found = stamps(self._folder)
            self._read(self._unread(found), found)
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
        if age_s and len(told) > _AT_LEISURE:
            self.read_on()
            return told, 0
        found = stamps(self._folder)
        unread = self._unread(found)
        if len(unread) <= self._at_once or not self._known:
            self._read(unread[: self._at_once], found)
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
            found = stamps(self._folder)
            unread = self._unread(found)
            for at in range(0, len(unread), _AT_ONCE):
                self._read(unread[at : at + _AT_ONCE], found, _PAUSE_S)
            self._told = time.monotonic(), self._sorted(found)

    def _unread(self, found: dict[str, SessionFile]) -> list[SessionFile]:
        """The files that are new or changed, or grow without showing it; the newest first."""
        with self._lock:
            if not self._known:
                known = indexed(self._folder, found.values())
                self._known = {path: (one, known[path]) for path, one in found.items() if path in known}
            settled = {path: one.stamp for path, (one, summary) in self._known.items() if summary.ended != "growing"}
            for path in self._known.keys() - found.keys():
                del self._known[path]
        unread = [one for path, one in found.items() if settled.get(path) != one.stamp]
        return sorted(unread, key=lambda one: one.changed_ns, reverse=True)

    def _read(self, unread: Iterable[SessionFile], found: dict[str, SessionFile], pause_s: float = 0.0) -> None:
        read = {}
        for one in unread:
            read[one] = summary = summarize(Path(one.path))
            with self._lock:
                self._known[one.path] = one, summary
            if pause_s:
                time.sleep(pause_s)
        if read:
            remember(self._folder, found.values(), read)

    def _sorted(self, found: dict[str, SessionFile]) -> list[Summary]:
        with self._lock:
            known = [summary for path, (_, summary) in self._known.items() if path in found]
        return sorted(known, key=_newest_first)


def stamps(folder: Path) -> dict[str, SessionFile]:
    """The session files that the page shows, by path: of the suffix it records under, and no link out of the folder."""
    return {
        one.path: one
        for one in stamped_files(folder)
        if one.path.endswith(SUFFIX) and not (one.is_link and not lies_in(Path(one.path), folder))
    }


def _newest_first(summary: Summary) -> tuple[bool, float, str]:
    began = summary.started_at.timestamp() if summary.started_at else 0.0
    return summary.started_at is None, -began, summary.file
