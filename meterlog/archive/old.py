"""Finds which sessions of a folder are old enough to be archived, and which of those stay, with the reason."""

from __future__ import annotations

import os
import re
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from meterlog.errors import SessionError
from meterlog.session.files import BESIDE
from meterlog.session.lost_log import is_log_lost
from meterlog.session.summary import Summary
from meterlog.session.surroundings import plain_stat

RAW = re.compile(r"(?P<stem>.+)\.meter\d+\.raw")
"""Raw captures, which a recording keeps beside its session; they go where it goes."""

_DAY_S = 86_400


@dataclass(frozen=True, slots=True)
class Old:
    """A session to be archived.

    Attributes:
        path: its file.
        month: when it was recorded, `YYYY-MM` in UTC.
        raw: the raw captures beside it.
        size: bytes of all of them.
    """

    path: Path
    month: str
    raw: tuple[Path, ...]
    size: int


@dataclass(frozen=True, slots=True)
class Left:
    """A session that is old enough and stays where it is, and why."""

    path: Path
    why: str


def find_old(folder: Path, sessions: Iterable[Summary], days: int, now: datetime) -> tuple[list[Old], list[Left]]:
    """Find what is older than a number of days, the oldest first.

    A session is as old as its recording; a damaged one, which cannot tell, as the last change of its file.

    Args:
        folder: where the sessions are.
        sessions: those in question.
        days: sessions that began earlier than this before `now` are old.
        now: with a time zone.

    Raises:
        OSError: the folder cannot be read.
    """
    begun = [(when, session) for session in sessions if (when := _began(session)) is not None]
    old = [(when, session) for when, session in begun if (now - when).total_seconds() > days * _DAY_S]
    old.sort(key=lambda pair: (pair[0], pair[1].path.name))
    open_jobs, raw = _open_jobs(folder, [session for _, session in old]), _raw_captures(folder)
    found: list[Old] = []
    left: list[Left] = []
    for when, session in old:
        if why := _why_it_stays(session, folder, open_jobs):
            left.append(Left(session.path, why))
        else:
            captures = tuple(sorted(raw.pop(session.path.stem, [])))
            size = sum(path.stat().st_size for path in (session.path, *captures))
            found.append(Old(session.path, f"{when:%Y-%m}", captures, size))
    return found, left


def _began(session: Summary) -> datetime | None:
    """The moment a session began; None for a file that has gone meanwhile."""
    if session.started_at is not None:
        return session.started_at.astimezone(UTC)
    try:
        return datetime.fromtimestamp(session.path.lstat().st_mtime, UTC)
    except OSError:
        return None


def _why_it_stays(session: Summary, folder: Path, open_jobs: Mapping[Path, str]) -> str:
    """Say why an old session is not to be moved; empty where nothing speaks against it."""
    if session.ended == "growing":
        return "is being recorded"
    try:
        found = plain_stat(session.path)
    except SessionError:
        return "is a link or no plain file"
    if found is None or found.st_nlink > 1:
        return "has a second name elsewhere" if found else "has gone"
    if session.damage:
        return f"is damaged: {session.damage}"
    if any(session.path.with_name(session.path.name + ending).exists() for ending in BESIDE):
        return "was not brought to rest after a crash: open it once, as with 'meterlog analyze'"
    if is_log_lost(session.path):
        return "lacks its last readings, which are in a log that is not beside it"
    job = open_jobs.get(folder.resolve()) or open_jobs.get(folder.resolve() / session.details.get("job", ""))
    return f"belongs to the job '{job}', which is not over" if job else ""


def _open_jobs(folder: Path, sessions: Iterable[Summary]) -> dict[Path, str]:
    """The names of jobs here that are not over, by their folders; looked for only where a session may be of one."""
    # Only now: jobs bring the circuits, whose loading would double the time that any list of sessions takes to begin.
    from meterlog.job.job_file import NAME as JOB_FILE
    from meterlog.job.listing import list_jobs
    from meterlog.job.status import OVER

    if not (folder / JOB_FILE).exists() and not any("job" in session.details for session in sessions):
        return {}
    jobs = [job for job in list_jobs(folder) if job.state not in OVER]
    return {job.folder.resolve(): job.folder.resolve().name for job in jobs}


def _raw_captures(folder: Path) -> defaultdict[str, list[Path]]:
    """The raw captures of a folder, by the name of their session without its suffix."""
    found: defaultdict[str, list[Path]] = defaultdict(list)
    with os.scandir(folder) as entries:
        for entry in entries:
            match = RAW.fullmatch(entry.name)
            if match and entry.is_file(follow_symlinks=False):
                found[match["stem"]].append(Path(entry.path))
    return found
