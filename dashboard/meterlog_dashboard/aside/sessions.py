"""Renames sessions and puts them aside: a session that was removed lies in a folder of its own until it is put back."""

from __future__ import annotations

from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session.lock import is_recording
from meterlog.session.names import SUFFIX
from meterlog_dashboard.aside.names import REMOVED, checked_name, free_aside, need_free, put_aside
from meterlog_dashboard.session_files.folder import SessionFolder, job_of

_BESIDE = ("-wal", "-shm", "-journal")


def rename(folder: SessionFolder, name: str, typed: str) -> str:
    """Give a session another name.

    Returns:
        The new name, with its suffix.

    Raises:
        NotASession: there is none of that name.
        UsageError: it is being recorded or a job's, or the new name cannot be used or is taken.
    """
    path = _at_rest(folder, name)
    new = path.with_name(f"{checked_name(typed.strip().removesuffix(SUFFIX), 'session')}{SUFFIX}")
    if new != path:
        _move(path, new)
    return new.name


def remove(folder: SessionFolder, name: str) -> None:
    """Put a session aside.

    Raises:
        NotASession: there is none of that name.
        UsageError: it is being recorded or a job's, or the folder for what is removed cannot be used.
    """
    path = _at_rest(folder, name)
    _move(path, free_aside(path))


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
    return [path.name for path in put_aside(folder.path) if path.suffix == SUFFIX and path.is_file()]


def _at_rest(folder: SessionFolder, name: str) -> Path:
    path = folder.file(name)
    if job := job_of(name):
        raise UsageError(f"'{path.name}' belongs to the job '{job}', whose steps name it: it stays there")
    if is_recording(path):
        raise UsageError(f"'{name}' is being recorded: stop that first")
    return path


def _move(path: Path, new: Path) -> None:
    """Move a session with what its database keeps beside it.

    Raises:
        UsageError: the new name is taken.
    """
    need_free(new, "session")
    for suffix in _BESIDE:
        beside = path.with_name(path.name + suffix)
        if beside.exists():
            beside.rename(new.with_name(new.name + suffix))
    path.rename(new)
