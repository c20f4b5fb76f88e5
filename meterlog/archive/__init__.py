"""Old sessions, packed and put into a folder by month, from where each can be brought back."""

from meterlog.archive.move import FOLDER, archived, bring_back, put_away
from meterlog.archive.old import Left, Old, find_old

__all__ = ["FOLDER", "Left", "Old", "archived", "bring_back", "find_old", "put_away"]
