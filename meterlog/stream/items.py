"""Says what a growing session tells: its channels, readings, events, markers and links, each as one JSON object.

It reads the file and nothing else, so that whoever listens can never hold up the recording.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from meterlog.capture.detection import live_detection
from meterlog.capture.notices import Detector
from meterlog.events.event import Event
from meterlog.reading import Flag, Reading
from meterlog.session.model import Channel
from meterlog.session.reader import SessionReader, open_reader
from meterlog.session.readings import readings_of

Item = dict[str, object]

_CHUNKS = 4
"""So much of a channel is in memory at once, however long the session is."""
VERSION = 1
"""Of the objects; a new key keeps it, a changed one raises it."""


@dataclass
class _Followed:
    channel: Channel
    detector: Detector
    cursor: int = 0


class SessionItems:
    """The items of a session, each told once.

    Attributes:
        over: whether the recording had ended at the last look, so that nothing will come any more.
    """

    def __init__(self, path: Path | str) -> None:
        """Nothing is read yet."""
        self.path = Path(path)
        self.over = False
        self._begun = False
        self._followed: dict[int, _Followed] = {}
        self._markers: set[int] = set()
        self._links = 0

    def look(self) -> Iterator[Item]:
        """Read what came since the last look.

        Raises:
            SessionError: the file cannot be read.
        """
        if self._begun and not self.path.exists():  # the recorder removes a session that stayed empty
            self.over = True
            yield {"type": "end", "ended": "empty"}
            return
        with open_reader(self.path) as reader:
            ended = reader.ended  # asked before the rest: what is read after it is complete
            if not self._begun:
                self._begun = True
                self._detection = live_detection(reader.details)
                yield {
                    "type": "session",
                    "version": VERSION,
                    "session": self.path.name,
                    "started_at": reader.started_at.isoformat(),
                    "details": reader.details,
                }
            yield from self._new_channels(reader)
            yield from self._new_links(reader)
            yield from self._new_markers(reader)
            for one in self._followed.values():
                yield from self._new_readings(reader, one)
        if ended != "growing":
            self.over = True
            for one in self._followed.values():
                yield from map(_event, one.detector.finish())
            yield {"type": "end", "ended": ended}

    def _new_channels(self, reader: SessionReader) -> Iterator[Item]:
        for channel in reader.channels:
            if channel.number not in self._followed:
                self._followed[channel.number] = _Followed(channel, self._detection(channel))
                yield {
                    "type": "channel",
                    "channel": channel.number,
                    "label": channel.label,
                    "point": channel.point,
                    "quantity": str(channel.quantity),
                    "unit": channel.quantity.unit,
                }

    def _new_links(self, reader: SessionReader) -> Iterator[Item]:
        changes = reader.link_changes
        for link in changes[self._links :]:
            yield {"type": "link", "time_s": link.time_s, "meter": link.meter, "up": link.up, "cause": link.cause}
        self._links = len(changes)

    def _new_markers(self, reader: SessionReader) -> Iterator[Item]:
        for marker in reader.markers:
            if marker.number not in self._markers:
                self._markers.add(marker.number)
                for one in self._followed.values():
                    one.detector.marker(marker)
                yield {"type": "marker", "time_s": marker.time_s, "name": marker.name, "note": marker.note}

    def _new_readings(self, reader: SessionReader, one: _Followed) -> Iterator[Item]:
        while True:
            series, cursor = reader.follow(one.channel.number, one.cursor, chunks=_CHUNKS)
            if cursor == one.cursor:
                return
            one.cursor = cursor
            readings = readings_of(series, one.channel.quantity)
            yield from (_reading(one.channel, reading) for reading in readings)
            yield from map(_event, one.detector.feed(readings))


def _reading(channel: Channel, reading: Reading) -> Item:
    """A reading; an overload has no value."""
    return {
        "type": "reading",
        "time_s": reading.time_s,
        "channel": channel.number,
        "value": reading.value if math.isfinite(reading.value) else None,
        "unit": channel.quantity.unit,
        "flags": [flag.name.lower() for flag in Flag if flag and flag in reading.flags and flag.name],
    }


def _event(event: Event) -> Item:
    return {"type": "event", **event.as_json()}
