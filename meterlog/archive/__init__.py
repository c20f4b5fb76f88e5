"""Old sessions, packed and put into a folder by month, from where each can be brought back."""

from meterlog.archive.move import FOLDER, archived, bring_back, came_from, put_away, unpacked
from meterlog.archive.old import Left, Old, find_old

__all__ = ["FOLDER", "Left", "Old", "archived", "bring_back", "came_from", "find_old", "put_away", "unpacked"]
