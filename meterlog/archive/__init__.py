"""Old sessions, packed and put into a folder by month, from where each can be brought back."""

from meterlog.archive.comes_back import ComesBack, what_comes_back
from meterlog.archive.move import FOLDER, archived, bring_back, came_from, packed_of, put_away, raw_in, raw_of, unpacked
from meterlog.archive.old import Left, Old, find_old

__all__ = [
    "FOLDER",
    "ComesBack",
    "Left",
    "Old",
    "archived",
    "bring_back",
    "came_from",
    "find_old",
    "packed_of",
    "put_away",
    "raw_in",
    "raw_of",
    "unpacked",
    "what_comes_back",
]
