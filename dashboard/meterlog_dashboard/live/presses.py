"""Markers from the page: each has the time of its press, however long it waited for the line, and comes once."""

from __future__ import annotations

import math
import threading
import time
from collections import OrderedDict
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.session import Marker, open_reader
from meterlog.session.markers import add_marker

LONGEST_TEXT = 200
"""Characters of a marker; the page's own field takes as many."""
LONGEST_AGO_S = 86_400.0
"""A press may have waited this long for the line, s: a day. A choice."""
_KEPT = 1000
"""Presses remembered, so that one that is sent again sets no second marker. A guess, many times what is pressed."""


class Presses:
    """The presses of all pages. Usable from any thread."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._set: OrderedDict[tuple[Path, str], Marker] = OrderedDict()

    def mark(self, path: Path, said: object) -> Marker:
        """Set the marker of a press.

        Args:
            path: the session.
            said: `name`; `ago_s`, how long ago it was pressed; `id`, by which a press is known when it is sent again.

        Raises:
            UsageError: that is no press, or lies outside of the recording.
            SessionError: the session cannot be read or written.
        """
        name, ago_s, press = _read(said)
        with self._lock:
            key = (path, press)
            if press and key in self._set:
                return self._set[key]
            marker = add_marker(path, name, time_s=_time_s(path, ago_s))
            if press:
                self._set[key] = marker
                while len(self._set) > _KEPT:
                    self._set.popitem(last=False)
            return marker


def _read(said: object) -> tuple[str, float, str]:
    values = said if isinstance(said, dict) else {}
    name, ago_s, press = values.get("name"), values.get("ago_s", 0.0), values.get("id", "")
    if not isinstance(name, str) or len(name) > LONGEST_TEXT:
        raise UsageError(f"a marker needs a text of at most {LONGEST_TEXT} characters")
    if isinstance(ago_s, bool) or not isinstance(ago_s, int | float) or not 0 <= ago_s <= LONGEST_AGO_S:
        raise UsageError("a marker cannot have been pressed at that time")
    if not isinstance(press, str) or len(press) > LONGEST_TEXT or math.isnan(ago_s):
        raise UsageError("a marker's press has no such name")
    return name, float(ago_s), press


def _time_s(path: Path, ago_s: float) -> float | None:
    """The time of a press, s from the session's start; None for now, which only a running session has."""
    with open_reader(path) as reader:
        if reader.ended == "growing" or ago_s > 0.0:
            return max(0.0, time.monotonic() - reader.monotonic_start_s - ago_s)
    return None
