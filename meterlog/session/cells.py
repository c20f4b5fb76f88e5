"""Checks what a cell of a session file may hold, where it is read: the file may come from anyone, or be damaged.

Every function raises ValueError, which the reader turns into the sentence that the file is damaged. The writer keeps to
the same bounds, so that what it wrote can be read.
"""

from __future__ import annotations

import math
from datetime import datetime

LONGEST_US = 100 * 366 * 86400 * 10**6
"""No time lies further than a hundred years from a session's start; beyond that calendars end."""

LONGEST_TEXT = 100_000
"""Characters: a long letter as a note (guess)."""

MOST_CHANNELS = 1000
"""Of a session: ten meters with ten quantities in ten columns (guess)."""

MOST_ROWS = 100_000
"""Markers, and link changes, of a session: one a second for a day (guess). Details are as few as channels."""

MOST_READINGS = 2**53
"""Of a channel: what a float still counts exactly, and more than any disk holds."""

MOST_SHARE, MOST_COUNTS, MOST_FIXED, LONGEST_INTERVAL_S = 10.0, 1e6, 1e9, 1e6
"""A stated accuracy of +-(1000 % + a million counts + a gigohm) says nothing any more, nor does a display that takes
12 days."""

_YEARS = range(1970, 2200)
"""A clock that was never set stands at the first; the systems' calendars end far beyond."""


def text(cell: object) -> str:
    """A text."""
    if not isinstance(cell, str) or len(cell) > LONGEST_TEXT:
        raise ValueError(f"{cell!r:.40} where a text belongs")
    return cell


def seconds(cell: object) -> float:
    """A time in microseconds as s."""
    if not isinstance(cell, int) or abs(cell) > LONGEST_US:
        raise ValueError(f"{cell!r:.40} where a time belongs")
    return cell / 1e6


def amount(cell: object, most: float = math.inf) -> float:
    """A finite number that is not negative."""
    if not isinstance(cell, (int, float)) or not 0 <= cell < math.inf or cell > most:
        raise ValueError(f"{cell!r:.40} where a number belongs")
    return float(cell)


def finite(cell: object) -> float:
    """A finite number."""
    if not isinstance(cell, (int, float)) or not math.isfinite(cell):
        raise ValueError(f"{cell!r:.40} where a number belongs")
    return float(cell)


def whole(cell: object, most: int = MOST_READINGS) -> int:
    """A whole number from 0."""
    if not isinstance(cell, int) or not 0 <= cell <= most:
        raise ValueError(f"{cell!r:.40} where a whole number belongs")
    return cell


def moment(cell: object) -> datetime:
    """A moment on the wall clock, with its offset from UTC."""
    found = datetime.fromisoformat(text(cell))
    if found.utcoffset() is None:
        raise ValueError(f"'{cell:.40}' has no offset from UTC")
    if found.year not in _YEARS:
        raise ValueError(f"'{cell:.40}' where a date of our time belongs")
    return found
