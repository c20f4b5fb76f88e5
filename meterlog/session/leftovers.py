"""Finds what killed programs leave in a folder of sessions: half-written files under passing names, and empty ones."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path

from meterlog.session.files import SUFFIXES
from meterlog.session.lock import is_recording

AT_REST_S = 600.0
"""A file written to so lately may still be in use; an import of millions of rows takes seconds, and writes on."""

_PASSING = re.compile(r"\..+\.\d+\.part(-wal|-shm|-journal|-recorder)?")
"""`.NAME.PROCESS.part`, under which exports, imports and reports write until they are complete (`finished_file`)."""


def leftovers(folder: Path) -> list[Path]:
    """The files of a folder that a killed program left and nobody can use; none that holds a single reading.

    A half-written export or import is one (its source is still there), and a session file without a byte in it.
    """
    return sorted(path for path in _candidates(folder) if _at_rest(path))


def _candidates(folder: Path) -> Iterator[Path]:
    for path in folder.iterdir():
        if _PASSING.fullmatch(path.name) or (path.suffix in SUFFIXES and not path.name.startswith(".")):
            yield path


def _at_rest(path: Path) -> bool:
    try:
        found = path.lstat()
        empty = not found.st_size and not path.with_name(f"{path.name}-wal").exists() and not is_recording(path)
        usable = not _PASSING.fullmatch(path.name) and not empty
        return path.is_file() and not usable and time.time() - found.st_mtime > AT_REST_S
    except OSError:  # just gone
        return False
