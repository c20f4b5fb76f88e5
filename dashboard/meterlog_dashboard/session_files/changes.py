"""Renames sessions and puts them aside: a session that was removed lies in a folder of its own until it is put back."""

from __future__ import annotations

import re
from itertools import count
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session.lock import is_recording
from meterlog.session.names import SUFFIX
from meterlog_dashboard.session_files.folder import SessionFolder

REMOVED = ".removed"
"""The folder below the sessions' that holds what was removed; no list of sessions looks into it."""
_LONGEST = 120
"""Characters of a name; file systems take 255 bytes."""
_NOT_IN_A_NAME = re.compile(r'[\x00-\x1f/\\\\:*?"<>|]')
"""Characters that one of the usual systems refuses in a file's name."""
_BESIDE = ("-wal", "-shm", "-journal")


def rename(folder: SessionFolder, name: str, typed: str) -> str:
    """Give a session another name.

    Returns:
        The new name, with its suffix.

    Raises:
        NotASession: there is none of that name.
        UsageError: it is being recorded, or the new name cannot be used or is taken.
    """
    path = _at_rest(folder, name)
    stem = typed.strip().removesuffix(SUFFIX).strip()
    if not stem or stem.startswith(".") or len(stem) > _LONGEST or _NOT_IN_A_NAME.search(stem):
        raise UsageError(f"'{stem}' cannot be a session's name: up to {_LONGEST} letters, none of / \\ : * ? \" < > |")
    new = path.with_name(f"{stem}{SUFFIX}")
    if new != path:
        _move(path, new)
    return new.name


def remove(folder: SessionFolder, name: str) -> None:
    """Put a session aside.

    Raises:
        NotASession: there is none of that name.
        UsageError: it is being recorded, or the folder for what is removed cannot be used.
    """
    path = _at_rest(folder, name)
    kept = folder.path / REMOVED
    if not kept.exists():
        kept.mkdir()
    if kept.is_symlink() or not kept.is_dir():
        raise UsageError(f"'{REMOVED}' is not a folder of its own here: move it away first")
    names = (f"{path.stem}{f'-{number}' if number > 1 else ''}{SUFFIX}" for number in count(1))
    _move(path, next(kept / one for one in names if not (kept / one).exists()))


def put_back(folder: SessionFolder, name: str) -> None:
    """Undo `remove`.

    Raises:
        UsageError: there is none of that name, or another one has that name by now.
    """
    if name not in removed(folder):
        raise UsageError(f"no session '{name}' was removed")
    _move(folder.path / REMOVED / name, folder.path / name)


def removed(folder: SessionFolder) -> list[str]:
    """The names of the sessions that can be put back, the one that was removed last first."""
    kept = folder.path / REMOVED
    if kept.is_symlink() or not kept.is_dir():
        return []
    files = [path for path in kept.glob(f"*{SUFFIX}") if path.is_file() and not path.is_symlink()]
    return [path.name for path in sorted(files, key=lambda path: -path.stat().st_ctime)]


def _at_rest(folder: SessionFolder, name: str) -> Path:
    path = folder.file(name)
    if is_recording(path):
        raise UsageError(f"'{name}' is being recorded: stop that first")
    return path


def _move(path: Path, new: Path) -> None:
    """Move a session with what its database keeps beside it.

    Raises:
        UsageError: the new name is taken.
    """
    if new.exists():
        raise UsageError(f"there is a session '{new.name}' already: give another name")
    for suffix in _BESIDE:
        beside = path.with_name(path.name + suffix)
        if beside.exists():
            beside.rename(new.with_name(new.name + suffix))
    path.rename(new)
