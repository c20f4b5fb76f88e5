"""Finds what goes into a dataset, the sessions and jobs in folders, and tells whether they have changed."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby
from pathlib import Path, PurePosixPath
from typing import TYPE_CHECKING, NamedTuple

from meterlog import __version__
from meterlog.archive import FOLDER as ARCHIVE
from meterlog.archive import came_from
from meterlog.errors import DatasetError
from meterlog.session.files import BESIDE, SUFFIXES, stamp_of, stamped_files

if TYPE_CHECKING:
    from meterlog.fleet.storage import Stored

JOB_FILE = "job.toml"
"""A folder that holds it is a job; its circuit lies beside it."""

WITH_READINGS = "+readings"
"""Ends the fingerprint of a session whose readings are in the dataset."""


class Found(NamedTuple):
    """A session file or a job's folder as it was found.

    Attributes:
        path: the file or folder; the address of its folder on object storage.
        name: its path or address as it stands in the tables; of an archived session the one it had before.
        fingerprint: changes whenever the file does, or the version that reads it.
        size: bytes of it.
        is_job: whether it is a job.
        fetch: names of the files to be fetched from object storage, the session's own first; none of a disk.
        is_packed: whether it is an archived session.
    """

    path: str
    name: str
    fingerprint: str
    size: int
    is_job: bool = False
    fetch: tuple[str, ...] = ()
    is_packed: bool = False


def sources(top: str, *, readings: bool = False) -> Iterator[Found]:
    """The sessions and jobs in a folder and those in it; what is hidden is passed over.

    Args:
        top: the folder's path, or its address on object storage.
        readings: whether the sessions' readings are wanted too.

    Raises:
        DatasetError: there is none: a disk that is not mounted must not empty the dataset.
    """
    found = list(_on_storage(top) if "://" in top else _on_disk(top))
    if not found:
        raise DatasetError(f"there are no sessions in '{top}'")
    names = Counter(one.name for one in found)
    for one in found:
        if one.is_packed and names[one.name] > 1:  # another has the name that it had
            one = one._replace(name=plain("/".join((one.path, *one.fetch))))
        yield one if one.is_job or not readings else one._replace(fingerprint=f"{one.fingerprint}{WITH_READINGS}")


def _on_disk(top: str) -> Iterator[Found]:
    if not os.path.isdir(top):
        raise DatasetError(f"there is no folder '{top}'")
    for folder, inside, files in os.walk(top):
        inside[:] = sorted(name for name in inside if not name.startswith("."))
        try:
            sessions = sorted(stamped_files(folder))
        except FileNotFoundError:
            continue  # it has gone meanwhile
        for one in sessions:
            yield Found(one.path, plain(one.path), f"{__version__}/{one.stamp}", one.size)
        yield from _archived(Path(folder), files)
        if JOB_FILE in files and (job := _job(Path(folder), files)) is not None:
            yield job


def _archived(month: Path, files: Sequence[str]) -> Iterator[Found]:
    """The packed sessions in a folder, if that is a month of an archive."""
    if month.parent.name != ARCHIVE:
        return
    for path in (month / name for name in sorted(files)):
        if (before := came_from(path)) is None or not path.is_file():
            continue
        try:
            state = path.stat()
        except OSError:
            continue  # it has been brought back meanwhile
        yield Found(str(path), plain(before), f"{__version__}/{stamp_of(state)}", state.st_size, is_packed=True)


def _on_storage(top: str) -> Iterator[Found]:
    """The same of a folder on object storage; there a session is known by its name alone."""
    from meterlog.fleet.storage import inside, listed  # of an extra

    for folder, found in groupby(listed(top), lambda file: file.folder):
        files = {file.name: file for file in found}
        place = inside(top, folder)
        for name in (name for name in files if name.endswith(SUFFIXES)):
            there = [files[f"{name}{suffix}"] for suffix in ("", *BESIDE) if f"{name}{suffix}" in files]
            fetch = tuple(file.name for file in there)
            yield Found(place, inside(place, name), _fingerprint(there), files[name].size, fetch=fetch)
        for name, file in files.items():
            if (before := came_from(PurePosixPath(folder, name))) is not None:
                stamp = _fingerprint([file])
                yield Found(place, inside(top, str(before)), stamp, file.size, fetch=(name,), is_packed=True)
        if JOB_FILE in files:
            parts = [file for name, file in files.items() if name.endswith(".toml")]
            yield Found(place, place, _fingerprint(parts), 0, is_job=True, fetch=tuple(file.name for file in parts))


def _fingerprint(files: Sequence[Stored]) -> str:
    return "/".join((__version__, *(f"{file.name}:{file.stamp}" for file in files)))


def plain(path: Path | str) -> str:
    """Return a path as it stands in the tables: a name that is no text in UTF-8 has a place there too."""
    return str(path).encode("utf-8", "backslashreplace").decode()


def place_in(job: Found, name: str) -> str:
    """Return the path or address, as it stands in the tables, of a file in a job's folder."""
    return f"{job.name.rstrip('/')}/{name}" if job.fetch else plain(Path(job.path, name))


def _job(folder: Path, files: list[str]) -> Found | None:
    """A job changes with its file, and with the circuits beside it."""
    states = []
    for name in sorted(name for name in files if name.endswith(".toml")):
        try:
            state = (folder / name).stat()
        except OSError:
            continue
        states.append(f"{name}:{stamp_of(state)}")
    return Found(str(folder), plain(folder), "/".join((__version__, *states)), 0, is_job=True) if states else None
