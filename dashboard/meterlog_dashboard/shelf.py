"""The sessions that the page has open, in memory: read once, analyzed once, and again when their files change."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from meterlog.series import Series
from meterlog.session.reader import SessionReader, open_reader
from meterlog_dashboard.library import Library
from meterlog_dashboard.listing import Listing, Stamp

if TYPE_CHECKING:  # they import much, and the page is to be there at once
    from meterlog.analysis import Analysis
    from meterlog.compare import Capture

_SESSIONS_KEPT = 4
_CAPTURES_KEPT = 8

T = TypeVar("T")


class Held:
    """A session in memory; offers what an analysis needs, and makes that analysis when it is first asked for.

    Attributes:
        path: the session file.
        started_at: the session's time 0 on the wall clock.
        details: as entered.
        channels: all of them.
        markers: in time order.
        link_changes: of its meters.
        duration_s: s.
        ended: `clean`, `hard` or `growing`.
    """

    def __init__(self, reader: SessionReader) -> None:
        self.path = reader.path
        self.started_at = reader.started_at
        self.details = reader.details
        self.channels = reader.channels
        self.markers = reader.markers
        self.link_changes = reader.link_changes
        self.ended = reader.ended
        self.duration_s = reader.duration_s
        self._series = {channel.number: reader.series(channel.number) for channel in self.channels}
        self._lock = threading.Lock()
        self._analysis: Analysis | None = None

    def series(self, channel: int) -> Series:
        """The readings of a channel."""
        return self._series[channel]

    @property
    def analysis(self) -> Analysis:
        """What happened in it; made once."""
        from meterlog.analysis import analyze

        with self._lock:
            if self._analysis is None:
                self._analysis = analyze(self)
            return self._analysis


class Shelf:
    """The sessions of a library that are open, and the list of all.

    Attributes:
        listing: the list.
    """

    def __init__(self, library: Library) -> None:
        self._library = library
        self._lock = threading.Lock()
        self._held: OrderedDict[Path, tuple[Stamp, Held]] = OrderedDict()
        self._captures: OrderedDict[Path, tuple[Stamp, Capture]] = OrderedDict()
        self.listing = Listing(library.folder)

    def held(self, name: str) -> Held:
        """A session in memory.

        Raises:
            NotASession: there is none of that name, or it cannot be read.
        """
        return self._kept(self._held, self._library.path(name), _read, _SESSIONS_KEPT)

    def capture(self, name: str) -> Capture:
        """A session as comparisons and reports want it.

        Raises:
            NotASession: there is none of that name, or it cannot be read.
            EmptySession: it holds no readings.
        """
        from meterlog.compare import load_capture

        return self._kept(self._captures, self._library.path(name), load_capture, _CAPTURES_KEPT)

    def _kept(self, kept: OrderedDict[Path, tuple[Stamp, T]], path: Path, load: Callable[[Path], T], most: int) -> T:
        stamp = _stamp(path)
        with self._lock:
            if path in kept and kept[path][0] == stamp:
                kept.move_to_end(path)
                return kept[path][1]
        loaded = load(path)
        with self._lock:
            kept[path] = (stamp, loaded)
            kept.move_to_end(path)
            while len(kept) > most:
                kept.popitem(last=False)
        return loaded


@lru_cache(maxsize=8)
def shelf_of(library: Library) -> Shelf:
    """The one shelf of a library."""
    return Shelf(library)


def _read(path: Path) -> Held:
    with open_reader(path) as reader:
        return Held(reader)


def _stamp(path: Path) -> Stamp:
    """What changes whenever the file or its write-ahead log does."""
    found: list[int] = []
    for one in (path, path.with_name(f"{path.name}-wal")):
        try:
            status = one.stat()
        except FileNotFoundError:
            found += [0, 0]
        else:
            found += [status.st_mtime_ns, status.st_size]
    return tuple(found)
