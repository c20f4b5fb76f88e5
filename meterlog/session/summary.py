"""Sums up one session in a line's worth of figures: for lists of many."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple

from meterlog.errors import SessionError
from meterlog.reading import Quantity
from meterlog.session.cells import MOST_CHANNELS, moment, seconds, text, whole
from meterlog.session.database import check_header, not_begun, open_to_read, read_errors
from meterlog.session.lock import is_recording
from meterlog.text.names import same_name

# sum(1) where count(*) would do: that is a single step, which no limit of steps interrupts.
_FIGURES = """SELECT recording.started_at, recording.ended,
    (SELECT ifnull(sum(count), 0) FROM chunk) + (SELECT ifnull(sum(1), 0) FROM reading),
    (SELECT ifnull(sum(1), 0) FROM marker),
    max(0, (SELECT ifnull(max(end_us), 0) FROM chunk), (SELECT ifnull(max(time_us), 0) FROM reading),
        (SELECT ifnull(max(time_us), 0) FROM marker), (SELECT ifnull(max(time_us), 0) FROM link_change))
    FROM recording"""


class Summary(NamedTuple):
    """One file of a list. A tuple of plain values: a list may hold a hundred thousand.

    Attributes:
        file: its path.
        damage: why it cannot be read; empty when it can, and the rest is meaningless otherwise.
        started_at: None for a damaged file.
        duration_s: time of the last reading, marker or link change, s.
        readings: of all channels.
        markers: how many.
        ended: `clean`, `hard` or `growing`.
        channels: label and quantity of each.
        details: as entered.
        words: its name, the channels' labels and the details' texts, a line each, without capitals: for a search.
    """

    file: str
    damage: str = ""
    started_at: datetime | None = None
    duration_s: float = 0.0
    readings: int = 0
    markers: int = 0
    ended: str = ""
    channels: tuple[tuple[str, Quantity], ...] = ()
    details: Mapping[str, str] = MappingProxyType({})
    words: str = ""

    @property
    def path(self) -> Path:
        """The file."""
        return Path(self.file)

    @property
    def name(self) -> str:
        """The file's name."""
        return self.file.rpartition(os.sep)[2]


def holding(summaries: Sequence[Summary], words: Iterable[str]) -> Sequence[Summary]:
    """Return those whose name, labels or details hold every one of some words, in capitals or not."""
    for word in map(str.casefold, words):
        summaries = [one for one in summaries if word in one.words]
    return summaries


def of_vehicle(summaries: Sequence[Summary], vehicle: str) -> Sequence[Summary]:
    """Return those of a vehicle; none where it has no name."""
    wanted = same_name(vehicle)
    return [one for one in summaries if wanted and same_name(one.details.get("vehicle", "")) == wanted]


def summarize(path: Path) -> Summary:
    """Return the summary of one file; a damaged one is a summary that says so.

    Changes nothing on the disk, except that it undoes a change that a crash cut short: nobody can look before that.
    """
    try:
        logged = check_header(path)
        if path.with_name(f"{path.name}-journal").exists():
            from meterlog.session.recovery import settle  # brings numpy, which takes longer than a short list

            settle(path)
        with read_errors(path):
            connection, _ = open_to_read(path, logged=logged)
            try:
                connection.execute("BEGIN")  # one look at the file's locks for all that follows
                figures = connection.execute(_FIGURES).fetchone()
                if figures is None:
                    raise not_begun(path)
                started_at, ended, readings, markers, end_us = figures
                sql = "SELECT label, quantity FROM channel ORDER BY number"
                channels = connection.rows(sql, most=MOST_CHANNELS)
                details = connection.rows("SELECT key, value FROM detail", most=MOST_CHANNELS)
            finally:
                connection.close()
            if ended == "growing" and not is_recording(path):
                ended = "hard"
            known = tuple((text(label), Quantity(text(quantity))) for label, quantity in channels)
            entered = {text(key): text(value) for key, value in details}
            return Summary(
                str(path),
                "",
                moment(started_at),
                seconds(end_us),
                whole(readings),
                whole(markers),
                text(ended),
                known,
                entered,
                _searched(path.name, *(label for label, _ in known), *entered.values()),
            )
    except SessionError as error:
        return Summary(str(path), damage=str(error), words=_searched(path.name))


def _searched(*texts: str) -> str:
    return "\n".join(texts).casefold()
