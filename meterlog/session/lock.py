"""The recorder's lock: one recorder a session, and anyone can tell whether it still lives.

A file beside the session, `NAME-recorder`, holds an operating-system lock as long as the recorder runs; a crash
lets go of it. The session file itself cannot carry it: closing a second handle on it would drop SQLite's own locks.
The file's text says which process that is and, while an armed capture keeps nothing, what the meters show.
"""

from __future__ import annotations

import json
import os
import stat
import sys
import time
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from meterlog.errors import SessionBusy
from meterlog.session.surroundings import SAFE_OPEN, judge_beside

if sys.platform == "win32":
    import msvcrt

    def _take(handle: int) -> None:
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _take(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


_MOST_SAID = 2**20  # bytes: a few lines of text a meter
_TEXT_AT = 1  # Windows locks the first byte against readers too


class RecorderLock:
    """Held from construction to `release`."""

    PATIENCE_S = 0.3
    """Another process that only looks holds the lock for microseconds; a recorder holds it on."""

    def __init__(self, session: Path, patience_s: float = PATIENCE_S) -> None:
        """Take the lock.

        Raises:
            SessionBusy: a recorder holds it.
            NotASession: what lies beside the session is no plain file of its own.
            OSError: the file beside the session cannot be made.
        """
        judge_beside(session)
        self._path = lock_path(session)
        give_up = time.monotonic() + patience_s
        while (handle := self._attempt()) is None:
            if time.monotonic() >= give_up:
                raise SessionBusy(
                    f"another recorder is writing '{session}': stop it first, or give another name", str(session)
                )
            time.sleep(0.01)
        self._handle: int | None = handle

    def _attempt(self) -> int | None:
        handle = os.open(self._path, os.O_RDWR | os.O_CREAT | SAFE_OPEN, 0o666)
        try:
            _take(handle)
            # The one before may have removed the file between our open and our lock.
            if os.path.samestat(os.fstat(handle), os.stat(self._path)):
                os.ftruncate(handle, 0)  # what a crashed one said of itself
                return handle
        except OSError:
            pass
        os.close(handle)
        return None

    def say(self, said: Mapping[str, Any]) -> None:
        """Say in the file which process this is, and more. Whoever looks on reads it with `recorder_says`."""
        if self._handle is None:
            return
        text = json.dumps({"pid": os.getpid(), **said}).encode()
        with suppress(OSError):  # a full disk is the session's trouble to tell
            os.lseek(self._handle, _TEXT_AT, os.SEEK_SET)
            os.write(self._handle, text)
            os.ftruncate(self._handle, _TEXT_AT + len(text))

    def release(self) -> None:
        """Remove the file and let go. Safe to call twice."""
        handle, self._handle = self._handle, None
        if handle is None:
            return
        if sys.platform == "win32":  # an open file cannot be removed there
            os.close(handle)
            _remove(self._path)
        else:
            _remove(self._path)
            os.close(handle)


def _remove(path: Path) -> None:
    try:
        path.unlink()
    except OSError:
        pass  # the folder is gone, or someone else has just opened it


def recorder_says(session: Path) -> dict[str, Any]:
    """Return what a recorder says of itself: `pid`, and what it gave to `say`; empty where there is none."""
    try:
        with open(os.open(lock_path(session), os.O_RDONLY | SAFE_OPEN), "rb", buffering=0) as file:
            file.seek(_TEXT_AT)
            said = json.loads(file.read(_MOST_SAID) or b"")
    except (OSError, ValueError, RecursionError):  # no recorder, or it is just writing
        return {}
    return said if isinstance(said, dict) else {}


def lock_path(session: Path) -> Path:
    """The file beside a session that its recorder locks."""
    return session.with_name(session.name + "-recorder")


def is_recording(session: Path) -> bool:
    """Tell whether a live recorder is writing this session."""
    try:
        handle = os.open(lock_path(session), os.O_RDONLY | SAFE_OPEN)
    except OSError:
        return False
    try:
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            return False
        _take(handle)
    except OSError:
        return True
    finally:
        os.close(handle)
    return False
