"""What a cell of a session file may hold, checked where it is read: the file may come from anyone, or be damaged.

Every function raises ValueError, which the reader turns into the sentence that the file is damaged.
"""

from __future__ import annotations

import math
from datetime import datetime

LONGEST_US = 100 * 366 * 86400 * 10**6
"""No time lies further than a hundred years from a session's start; beyond that calendars end."""


def text(cell: object) -> str:
    """A text."""
    if not isinstance(cell, str):
        raise ValueError(f"{cell!r:.40} where a text belongs")
    return cell


def seconds(cell: object) -> float:
    """A time in microseconds as s."""
    if not isinstance(cell, int) or abs(cell) > LONGEST_US:
        raise ValueError(f"{cell!r:.40} where a time belongs")
    return cell / 1e6


def amount(cell: object) -> float:
    """A finite number that is not negative."""
    if not isinstance(cell, (int, float)) or not 0 <= cell < math.inf:
        raise ValueError(f"{cell!r:.40} where a number belongs")
    return float(cell)


def moment(cell: object) -> datetime:
    """A moment on the wall clock, with its offset from UTC."""
    found = datetime.fromisoformat(text(cell))
    if found.utcoffset() is None:
        raise ValueError(f"'{cell}' has no offset from UTC")
    return found
