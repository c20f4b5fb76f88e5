"""Renames jobs and puts them aside, each as the folder that it is, with its sessions, photos and report."""

from __future__ import annotations

from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session.lock import is_recording
from meterlog_dashboard.aside.names import REMOVED, checked_name, free_aside, need_free, put_aside
from meterlog_dashboard.job.folder import JobFolders
from meterlog_dashboard.session_files.folder import SessionFolder, is_job


def rename(jobs: JobFolders, name: str, typed: str) -> str:
    """Give a job's folder another name.

    Returns:
        The new name.

    Raises:
        JobError: there is none of that name.
        UsageError: it is being measured, or the new name cannot be used or is taken.
    """
    with jobs.changing:
        path = _at_rest(jobs, name)
        new = path.with_name(checked_name(typed, "job"))
        if new != path:
            need_free(new, "job or folder")
            path.rename(new)
        return new.name


def remove(jobs: JobFolders, name: str) -> None:
    """Put a job aside.

    Raises:
        JobError: there is none of that name.
        UsageError: it is being measured, or the folder for what is removed cannot be used.
    """
    with jobs.changing:
        path = _at_rest(jobs, name)
        path.rename(free_aside(path))


def put_back(jobs: JobFolders, name: str) -> None:
    """Undo `remove`.

    Raises:
        UsageError: there is none of that name, or something else has that name by now.
    """
    with jobs.changing:
        if name not in removed(jobs):
            raise UsageError(f"no job '{name}' was removed")
        need_free(jobs.path / name, "job or folder")
        (jobs.path / REMOVED / name).rename(jobs.path / name)


def removed(jobs: JobFolders) -> list[str]:
    """The names of the jobs that can be put back, the one that was removed last first."""
    return [path.name for path in put_aside(jobs.path) if is_job(path)]


def _at_rest(jobs: JobFolders, name: str) -> Path:
    folder = SessionFolder(jobs.folder(name))
    if any(is_recording(folder.file(session)) for session in folder.names()):
        raise UsageError(f"the job '{name}' is being measured: stop that first")
    return folder.path
