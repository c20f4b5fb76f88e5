"""Finds what killed programs leave in a folder of sessions: half-written files under passing names, and empty ones."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Container
from pathlib import Path

from meterlog.session.files import SUFFIXES
from meterlog.session.lock import is_recording

AT_REST_S = 600.0
"""A file written to so lately may still be in use; an import of millions of rows takes seconds, and writes on."""

_PASSING = re.compile(r"\..+\.\d+\.part(-wal|-shm|-journal|-recorder)?")
"""`.NAME.PROCESS.part`, under which exports, imports and reports write until they are complete (`finished_file`)."""


def leftovers(folder: Path, sound: Container[str] = ()) -> list[Path]:
    """Return the files of a folder that a killed program left and nobody can use; none that holds a single reading.

    A half-written export or import is one (its source is still there), and a session file without a byte in it.

    Args:
        folder: to look through.
        sound: names of files that are known to be sessions; they are passed over.
    """
    with os.scandir(folder) as entries:
        return sorted(Path(entry.path) for entry in entries if entry.name not in sound and _is_left(entry))


def _is_left(entry: os.DirEntry[str]) -> bool:
    passing = entry.name.startswith(".") and _PASSING.fullmatch(entry.name) is not None
    if not passing and (entry.name.startswith(".") or not entry.name.endswith(SUFFIXES)):
        return False
    try:
        state = entry.stat(follow_symlinks=False)
        if not entry.is_file() or time.time() - state.st_mtime <= AT_REST_S:
            return False
        path = Path(entry.path)
        in_use = state.st_size > 0 or path.with_name(f"{path.name}-wal").exists() or is_recording(path)
        return passing or not in_use
    except OSError:  # just gone
        return False
