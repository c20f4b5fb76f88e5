"""Names for sessions that nobody named: the date and the time, and a number where that second has a session already."""

from __future__ import annotations

from collections.abc import Container, Mapping
from datetime import datetime
from itertools import count
from pathlib import Path

from meterlog.errors import SessionBusy, SessionWriteFailed
from meterlog.session.lock import lock_path
from meterlog.session.writer import COMMIT_INTERVAL_S, SessionWriter

SUFFIX = ".sqlite"


def new_name(folder: Path, taken: Container[str] = ()) -> str:
    """Return a name that no session of the folder has and that is none of `taken`."""
    stem = f"{datetime.now().astimezone():%Y-%m-%d_%H%M%S}"
    names = (f"{stem}{f'-{number}' if number > 1 else ''}{SUFFIX}" for number in count(1))
    return next(name for name in names if name not in taken and not _in_use(folder / name))


def create_named(folder: Path, details: Mapping[str, str], save_s: float = COMMIT_INTERVAL_S) -> SessionWriter:
    """Begin a session under a new name, whoever else begins one there in the same second; see `SessionWriter.create`.

    Raises:
        SessionWriteFailed: no file can be made in the folder.
        UsageError: a detail is not valid UTF-8.
    """
    while True:
        path = folder / new_name(folder)
        try:
            return SessionWriter.create(path, details=details, save_s=save_s)
        except (SessionBusy, SessionWriteFailed):
            if not _in_use(path):
                raise


def _in_use(path: Path) -> bool:
    return path.exists() or lock_path(path).exists()
