"""Sets, changes and removes markers of a session, running or finished, from any process."""

from __future__ import annotations

import time
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session.cells import MOST_ROWS
from meterlog.session.changes import changing
from meterlog.session.database import check_texts
from meterlog.session.model import Marker
from meterlog.session.reader import open_reader

LATEST_S = 1e9
"""Later than this no session ends, s: 30 years."""


def add_marker(path: Path | str, name: str, note: str = "", time_s: float | None = None) -> Marker:
    """Set a marker.

    Args:
        path: the session.
        name: `key-on`, `crank`, `wiggle`, `key-off`, or free text.
        note: anything more.
        time_s: s from the session's start; None means now, which only a running session has.

    Raises:
        UsageError: no name, no such time, or no time on a finished session.
        SessionError: the file cannot be read or written.
    """
    path, name = Path(path), name.strip()
    if not name:
        raise UsageError("a marker wants a text")
    check_texts((name, note))
    with open_reader(path) as reader:
        if time_s is None:
            if reader.ended != "growing":
                raise UsageError(f"'{path}' is not being recorded: say where the marker belongs with --at SECONDS")
            # The recorder lives, so it runs on this machine and shares its monotonic clock.
            time_s = time.monotonic() - reader.monotonic_start_s
        elif reader.ended != "growing" and not 0 <= time_s <= reader.duration_s:
            raise UsageError(f"'{path}' runs from 0 to {reader.duration_s:.1f} s; {time_s:g} s is outside")
    time_us = _microseconds(time_s)
    with changing(path) as connection:
        (last,) = connection.execute("SELECT ifnull(max(number), 0) FROM marker").fetchone()
        if last >= MOST_ROWS:
            raise UsageError(f"'{path}' has had {last} markers, and a session takes no more")
        number = connection.execute(
            "INSERT INTO marker (time_us, name, note, by) VALUES (?, ?, ?, 'person')", (time_us, name, note)
        ).lastrowid
    return Marker(number or 0, time_us / 1e6, name, note)


def change_marker(
    path: Path | str, number: int, *, name: str | None = None, note: str | None = None, time_s: float | None = None
) -> None:
    """Change what is given of a marker.

    Raises:
        UsageError: there is no such marker, the name is empty, or there is no such time.
        SessionError: the file cannot be written.
    """
    if name is not None and not name.strip():
        raise UsageError("a marker wants a text")
    check_texts((name, note))
    time_us = None if time_s is None else _microseconds(time_s)
    with changing(Path(path)) as connection:
        changed = connection.execute(
            "UPDATE marker SET name = ifnull(?, name), note = ifnull(?, note), time_us = ifnull(?, time_us)"
            " WHERE number = ?",
            (name, note, time_us, number),
        ).rowcount
        _check_found(changed, path, number)


def remove_marker(path: Path | str, number: int) -> None:
    """Remove a marker.

    Raises:
        UsageError: there is no such marker.
        SessionError: the file cannot be written.
    """
    with changing(Path(path)) as connection:
        removed = connection.execute("DELETE FROM marker WHERE number = ?", (number,)).rowcount
        _check_found(removed, path, number)


def _microseconds(time_s: float) -> int:
    """The time as the file holds it.

    Raises:
        UsageError: it is none of a session.
    """
    if not 0 <= time_s <= LATEST_S:
        raise UsageError(f"a marker cannot lie at {time_s:g} s")
    return round(time_s * 1e6)


def _check_found(rows: int, path: Path | str, number: int) -> None:
    if not rows:
        raise UsageError(f"there is no marker {number} in '{path}'")
