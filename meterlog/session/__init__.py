"""The session file: one SQLite file with the readings, markers and details of one recording."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

from meterlog.session.model import Channel, LinkChange, Marker, Overview
from meterlog.session.writer import SessionWriter

if TYPE_CHECKING:
    from meterlog.session.markers import add_marker, change_marker, remove_marker
    from meterlog.session.reader import SessionReader, open_reader

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

_LATER = {
    "SessionReader": "reader",
    "open_reader": "reader",
    "add_marker": "markers",
    "change_marker": "markers",
    "remove_marker": "markers",
}
"""Loaded late: what reads brings numpy, a third of the time to a recording's first byte, and recording needs none."""


def __getattr__(name: str) -> object:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_LATER[name]}"), name)
