"""All jobs of a folder, each in a line's worth of figures."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from meterlog.errors import MeterlogError
from meterlog.job.job_file import NAME, read_job
from meterlog.job.status import known_of


@dataclass(frozen=True, slots=True)
class Listed:
    """A job in a list.

    Attributes:
        folder: where it lies.
        changed: when its file was written last.
        vehicle: as entered.
        complaint: as entered.
        state: empty where it cannot be read.
        verdict: what is known; why it cannot be read, where it cannot.
    """

    folder: Path
    changed: datetime
    vehicle: str
    complaint: str
    state: str
    verdict: str


def list_jobs(folder: Path) -> list[Listed]:
    """The jobs in a folder and in the folders right below it, the newest first."""
    return sorted((_listed(path) for path in _folders(folder)), key=lambda one: one.changed, reverse=True)


def _folders(folder: Path) -> Iterator[Path]:
    if (folder / NAME).is_file():
        yield folder
    yield from (path.parent for path in folder.glob(f"*/{NAME}") if path.is_file())


def _listed(folder: Path) -> Listed:
    changed = datetime.fromtimestamp((folder / NAME).stat().st_mtime).astimezone()
    try:
        now = known_of(read_job(folder))
    except MeterlogError as error:
        return Listed(folder, changed, "", "", "", str(error))
    return Listed(folder, changed, now.job.vehicle, now.job.complaint, now.state, now.verdict)
