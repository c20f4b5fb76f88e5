"""Finds what goes into a dataset, the sessions and jobs in folders, and tells whether they have changed."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

from meterlog import __version__
from meterlog.errors import DatasetError
from meterlog.session.files import stamped_files

JOB_FILE = "job.toml"
"""A folder that holds it is a job; its circuit lies beside it."""

WITH_READINGS = "+readings"
"""Ends the fingerprint of a session whose readings are in the dataset."""


class Found(NamedTuple):
    """A session file or a job's folder as it was found.

    Attributes:
        path: the file or folder.
        name: its path as it stands in the tables.
        fingerprint: changes whenever the file does, or the version that reads it.
        size: bytes of it.
        is_job: whether it is a job.
    """

    path: Path
    name: str
    fingerprint: str
    size: int
    is_job: bool = False


def sources(top: Path, *, readings: bool = False) -> Iterator[Found]:
    """The sessions and jobs in a folder and those in it; what is hidden is passed over.

    Args:
        top: the folder.
        readings: whether the sessions' readings are wanted too.

    Raises:
        DatasetError: there is none: a disk that is not mounted must not empty the dataset.
    """
    if not top.is_dir():
        raise DatasetError(f"there is no folder '{top}'")
    any_found = False
    ending = WITH_READINGS if readings else ""
    for folder, inside, files in os.walk(top):
        inside[:] = sorted(name for name in inside if not name.startswith("."))
        try:
            sessions = sorted(stamped_files(folder))
        except FileNotFoundError:
            continue  # it has gone meanwhile
        for one in sessions:
            any_found = True
            yield Found(Path(one.path), plain(one.path), f"{__version__}/{one.stamp}{ending}", one.size)
        if JOB_FILE in files and (job := _job(Path(folder), files)) is not None:
            any_found = True
            yield job
    if not any_found:
        raise DatasetError(f"there are no sessions in '{top}'")


def plain(path: Path | str) -> str:
    """Return a path as it stands in the tables: a name that is no text in UTF-8 has a place there too."""
    return str(path).encode("utf-8", "backslashreplace").decode()


def _job(folder: Path, files: list[str]) -> Found | None:
    """A job changes with its file, and with the circuits beside it."""
    states = []
    for name in sorted(name for name in files if name.endswith(".toml")):
        try:
            state = (folder / name).stat()
        except OSError:
            continue
        states.append(f"{name}:{state.st_size}:{state.st_mtime_ns}:{state.st_ctime_ns}")
    return Found(folder, plain(folder), "/".join((__version__, *states)), 0, is_job=True) if states else None
