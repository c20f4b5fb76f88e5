"""The session file: one SQLite file with the readings, markers and details of one recording."""

from meterlog.session.markers import add_marker, change_marker, remove_marker
from meterlog.session.model import Channel, LinkChange, Marker, Overview
from meterlog.session.reader import SessionReader, open_reader
from meterlog.session.writer import SessionWriter

__all__ = [
    "Channel",
    "LinkChange",
    "Marker",
    "Overview",
    "SessionReader",
    "SessionWriter",
    "add_marker",
    "change_marker",
    "open_reader",
    "remove_marker",
]
