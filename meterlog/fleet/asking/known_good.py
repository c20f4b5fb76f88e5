"""Chooses which captures of many stand for what is known-good: to read every one of a fleet would take hours."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import NotASession
from meterlog.fleet.asking.frames import Dataset
from meterlog.fleet.asking.where import Where, check_keys, facts_of_summary, fits
from meterlog.fleet.manifest import is_dataset
from meterlog.session.folder_index import summaries
from meterlog.signal.tolerance import LEAST
from meterlog.text.figures import count
from meterlog.text.names import same_name

_MOST = 300
"""Captures that stand for all: as many as the coverage of what is normal was simulated for. Read in seconds."""


class _Capture(NamedTuple):
    began: datetime
    session: str
    vehicle: str


def known_good(source: Path, where: Where) -> tuple[list[str], str]:
    """Choose captures of a folder or dataset.

    A vehicle's many captures are not many vehicles: where there are enough vehicles, of each the newest counts.

    Args:
        source: the folder of sessions, or the dataset.
        where: only sessions of which this is so.

    Returns:
        Their paths, in order, and a sentence about those that were left out; none where none was.

    Raises:
        DatasetError: the dataset cannot be read, or nothing is known of a key of `where`.
        NotASession: a file of the folder cannot be read.
    """
    every = sorted(_of_dataset(source, where) if is_dataset(source) else _of_folder(source, where))
    newest = list({vehicle: one for one in every if (vehicle := same_name(one.vehicle))}.values())
    by_vehicle = len(newest) >= LEAST
    chosen = sorted(newest if by_vehicle else every)[-_MOST:]
    whose = f", the newest of each of {count(len(chosen), 'vehicle')}" if by_vehicle else ", the newest"
    said = f"of {count(len(every), 'session')} in '{source}' {len(chosen)} are taken{whose}"
    return sorted(one.session for one in chosen), said if len(chosen) < len(every) else ""


def _of_dataset(source: Path, where: Where) -> Sequence[_Capture]:
    sessions = Dataset(source, where)["sessions"]
    rows = zip(sessions.started_at, sessions.session, sessions.vehicle.fillna(""), strict=True)
    return [_Capture(began.to_pydatetime(), str(session), str(vehicle)) for began, session, vehicle in rows]


def _of_folder(source: Path, where: Where) -> Sequence[_Capture]:
    captures: list[_Capture] = []
    known: set[str] = set()
    for one in summaries(source):
        if one.started_at is None:
            raise NotASession(one.damage, one.file)
        facts = facts_of_summary(one)
        known |= facts.keys()
        if fits(facts, where):
            captures.append(_Capture(one.started_at, one.file, one.details.get("vehicle", "")))
    check_keys(known, where)
    return captures
