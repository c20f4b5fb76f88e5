"""All jobs of a folder, each in a line's worth of figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from meterlog.errors import JobError, MeterlogError
from meterlog.job.job_file import NAME, read_job
from meterlog.job.status import OVER, known_of

_NAMED = 5
"""Jobs that are named where one has to be chosen. A choice."""


@dataclass(frozen=True, slots=True)
class Listed:
    """A job in a list.

    Attributes:
        folder: where it lies.
        changed: when its file was written last.
        vehicle: as entered.
        complaint: as entered.
        state: empty where it cannot be read.
        due: when what it waits for is; empty where nobody said.
        verdict: what is known; why it cannot be read, where it cannot.
    """

    folder: Path
    changed: datetime
    vehicle: str
    complaint: str
    state: str
    due: str
    verdict: str


def list_jobs(folder: Path) -> list[Listed]:
    """The jobs in a folder and in the folders right below it, the newest first."""
    return sorted((_listed(path) for path in _folders(folder)), key=lambda one: one.changed, reverse=True)


def job_here(*, only_read: bool = False) -> Path:
    """The job in this folder or right below it: the only one, or of several the only one that is not over.

    Args:
        only_read: nothing is entered, so that where all of several are over it may be the one that changed last.

    Raises:
        JobError: there is none, or more than one.
    """
    found = sorted(_folders(Path()))
    if len(found) == 1:
        return found[0]
    if not found:
        raise JobError("there is no job here: name its folder, or begin one with 'meterlog job start FOLDER'")
    listed = list_jobs(Path())
    going_on = [job.folder for job in listed if job.state not in OVER]
    if len(going_on) == 1 or (only_read and not going_on):
        return (going_on or [listed[0].folder])[0]
    left = sorted(going_on) or found
    which = ", ".join(map(str, left[:_NAMED])) + ", ..." * (len(left) > _NAMED)
    raise JobError(f"there are {len(left)} jobs here: name the folder of one ({which})")


def _folders(folder: Path) -> Iterator[Path]:
    if (folder / NAME).is_file():
        yield folder
    yield from (path.parent for path in folder.glob(f"*/{NAME}") if path.is_file())


def _listed(folder: Path) -> Listed:
    changed = datetime.fromtimestamp((folder / NAME).stat().st_mtime).astimezone()
    try:
        now = known_of(read_job(folder))
    except MeterlogError as error:
        return Listed(folder, changed, "", "", "", "", str(error))
    return Listed(folder, changed, now.job.vehicle, now.job.complaint, now.state, now.job.due, now.verdict)
