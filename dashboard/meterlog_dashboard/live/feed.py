"""Follows the sessions that are being recorded: what came since a page last asked, and the events as they are decided.

One feed a session serves every page that is open. It reads the file and nothing else, opens it for each look, and
forgets all of it when nobody asks any more.
"""

from __future__ import annotations

import math
import threading
import time
from collections import deque
from pathlib import Path
from typing import Any

import numpy as np

from meterlog.capture.detection import live_detection
from meterlog.capture.present import SILENT_INTERVALS, Present, link_now, silent_after_s, state_now
from meterlog.cli.terminal.readout import readout
from meterlog.details import entered_number
from meterlog.drawing.palette import kind_colour
from meterlog.drawing.scale import Span, common_scales
from meterlog.events import Event
from meterlog.events.settings import SYSTEM_SPLIT_V
from meterlog.kinds import KINDS
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import Channel, LinkChange, Marker, open_reader
from meterlog.session.lock import recorder_says
from meterlog.session.model import ARMED, CAPTURE
from meterlog.session.reader import SessionReader
from meterlog.session.readings import readings_of
from meterlog.text.figures import displayed
from meterlog_dashboard.live.followed import KEPT, Followed, Point
from meterlog_dashboard.session_files.folder import SessionFolder

_SHARED_S = 0.03
"""Pages that ask within so short a time are answered from one look at the file, s; a guess."""
_FORGET_S = 30.0
"""A feed that nobody asked for so long is forgotten, s; a guess, longer than a phone's short sleep."""
_EVENTS_KEPT = 200
"""Events and markers that a page which comes late is given; a guess, it lists 8."""
_BREAK_AT_LEAST_S = 1.0
"""The drawn line breaks where readings are missing for so long: as the event `gap`, s."""


class LiveFeed:
    """One growing session. Usable from any thread."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.asked_s = time.monotonic()
        self._lock = threading.Lock()
        self._epoch = f"{time.time_ns():x}"
        self._sequence = 0
        self._looked_s = -math.inf
        self._followed: dict[int, Followed] = {}
        self._events: deque[tuple[int, Event]] = deque(maxlen=_EVENTS_KEPT)
        self._markers: list[Marker] = []
        self._links: list[LinkChange] = []
        self._about: dict[str, Any] = {}
        self._ended = "growing"

    def since(self, epoch: str, after: int) -> dict[str, Any]:
        """Return what the page does not have yet; everything kept, with `reset`, where its epoch is another feed's.

        Raises:
            SessionError: the file cannot be read.
        """
        with self._lock:
            self.asked_s = now_s = time.monotonic()
            if self._ended == "growing" and now_s - self._looked_s >= _SHARED_S:
                self._look()
                self._looked_s = now_s
            reset = epoch != self._epoch
            after = 0 if reset else after
            return {
                **self._about,
                "epoch": self._epoch,
                "sequence": self._sequence,
                "reset": reset,
                "state": self._ended,
                "channels": self._channels(),
                "points": {one.channel.number: one.columns(after) for one in self._shown()},
                "events": [self._event(n, event) for n, event in self._events if n > after],
                "markers": [[m.time_s, m.name, m.note, m.by == CAPTURE] for m in self._markers[-_EVENTS_KEPT:]],
            }

    def _look(self) -> None:
        with open_reader(self.path) as reader:
            ended = reader.ended  # asked before the rest: what is read after it is complete
            self._start_s = reader.monotonic_start_s  # a suspension of the computer moves it
            if not self._about:
                self._about = {"started": reader.started_at.isoformat(), "details": reader.details}
                self._detection = live_detection(reader.details)
            duration_s = reader.duration_s
            self._links = reader.link_changes
            self._take_markers(reader.markers)
            for channel in reader.channels:
                if channel.number not in self._followed:
                    self._follow(channel)
                self._read(reader, self._followed[channel.number])
        if ended != "growing":
            for one in self._followed.values():
                self._found(one.detector.finish())
        self._ended = ended
        self._about["elapsed_s"] = time.monotonic() - self._start_s if ended == "growing" else duration_s
        waiting = ended == "growing" and bool(self._markers) and self._waiting()
        self._about["waits_for"] = self._markers_of(ARMED)[-1].note if waiting else ""
        if waiting:
            self._show_unkept()

    def _follow(self, channel: Channel) -> None:
        self._followed[channel.number] = Followed(channel, self._detection(channel))
        for marker in self._markers:
            self._followed[channel.number].detector.marker(marker)

    def _take_markers(self, markers: list[Marker]) -> None:
        known = {marker.number for marker in self._markers}
        for marker in markers:
            if marker.number not in known:
                for one in self._followed.values():
                    one.detector.marker(marker)
        self._markers = markers

    def _markers_of(self, name: str) -> list[Marker]:
        return [marker for marker in self._markers if (marker.name, marker.by) == (name, CAPTURE)]

    def _waiting(self) -> bool:
        """True while an armed capture waits: nothing came after the moment when it began to."""
        by_capture = [marker for marker in self._markers if marker.by == CAPTURE]
        return bool(by_capture) and by_capture[-1].name == ARMED and "shows" in recorder_says(self.path)

    def _read(self, reader: SessionReader, one: Followed) -> None:
        series, one.cursor = reader.follow(one.channel.number, one.cursor)
        if not len(series):
            return
        readings = readings_of(series, one.channel.quantity)
        for reading in readings[-KEPT:]:
            self._add(one, reading)
        one.count += len(readings)
        finite = series.value[np.isfinite(series.value)]
        if len(finite):
            one.low, one.high = min(one.low, float(finite.min())), max(one.high, float(finite.max()))
        self._found(one.detector.feed(readings))

    def _add(self, one: Followed, reading: Reading) -> None:
        """Keep a reading for the pages, with a break before it where readings are missing."""
        if one.last is not None:
            step_s = reading.time_s - one.last.time_s
            if step_s > max(_BREAK_AT_LEAST_S, SILENT_INTERVALS * (one.interval_s or 0.0)):
                self._sequence += 1
                one.points.append(Point(self._sequence, one.last.time_s + 1e-3, None))
            else:
                one.steps.append(step_s)
        self._sequence += 1
        overload = not math.isfinite(reading.value)
        value = None if overload else reading.value
        one.points.append(Point(self._sequence, reading.time_s, value, overload))
        one.last = reading

    def _show_unkept(self) -> None:
        """While an armed capture waits its readings are in no file; the recorder says what the meters show."""
        for number, time_s, value, resolution, flags in recorder_says(self.path).get("shows", []):
            one = self._followed.get(number)
            if one is not None:
                one.last = Reading(time_s, value, one.channel.quantity, resolution, Flag(flags))

    def _found(self, events: list[Event]) -> None:
        for event in events:
            self._sequence += 1
            self._events.append((self._sequence, event))

    def _shown(self) -> list[Followed]:
        """The channels that are still measured: where a dial was turned, only the newest quantity's."""
        newest: dict[tuple[str, str], Followed] = {}
        for one in self._followed.values():
            key = (one.channel.address, one.channel.label)
            rival = newest.get(key)
            if rival is None or one.last_s >= rival.last_s:
                newest[key] = one
        return sorted(newest.values(), key=lambda one: one.channel.number)

    def _channels(self) -> list[dict[str, Any]]:
        shown = self._shown()
        scales = self._scales(shown)
        return [self._said(one) | {"scale": scales[one.channel.number]} for one in shown]

    def _scales(self, shown: list[Followed]) -> dict[int, Span]:
        """The height of each one's axis, as Review draws it."""
        volts = [one.high for one in shown if one.channel.quantity is Quantity.DC_VOLTAGE]
        usual_v = 24.0 if max(volts, default=0.0) > SYSTEM_SPLIT_V else 12.0
        return common_scales([one.seen for one in shown], entered_number(self._about["details"], "system_v") or usual_v)

    def _said(self, one: Followed) -> dict[str, Any]:
        channel = one.channel
        now_s = time.monotonic() - self._start_s
        age_s = None if one.last is None else max(0.0, now_s - one.last.time_s)
        change = next((link for link in reversed(self._links) if link.channel == channel.number), None)
        up = change is None or change.up
        cause = "" if change is None or up else change.cause
        link = link_now(age_s, one.interval_s, up=up, cause=cause)
        standing = None if self._about.get("waits_for") else one.detector.standing  # it is shown nothing meanwhile
        resolution = one.last.resolution if one.last else math.nan
        return {
            "number": channel.number,
            "label": channel.name,
            "point": channel.place,
            "quantity": str(channel.quantity),
            "measured": channel.quantity.words,
            "role": "" if channel.measurand.said_by == "quantity" else channel.measurand.described,
            "unit": channel.quantity.unit,
            "shown": readout(one.last) if one.last else "–",
            "low": displayed(one.low, channel.quantity.unit, resolution) if one.low < math.inf else "–",
            "high": displayed(one.high, channel.quantity.unit, resolution) if one.high > -math.inf else "–",
            "count": one.count,
            "interval_s": one.interval_s,
            "age_s": age_s,
            "silent_after_s": silent_after_s(one.interval_s),
            "up": up,
            "cause": cause,
            "link": _present(link),
            "now": _present(state_now(one.last, standing, now_s, link)),
        }

    def _event(self, sequence: int, event: Event) -> dict[str, Any]:
        one = self._followed.get(event.channel)
        kind = KINDS[event.kind]
        return {
            "sequence": sequence,
            "kind": kind.words,
            "sort": kind.sort,
            "colour": kind_colour(event.kind),
            "channel": event.channel,
            "label": one.channel.name if one else "",
            "start_s": event.start_s,
            "end_s": event.end_s,
            "detail": event.detail.replace("+-", "±"),
        }


class LiveFeeds:
    """One feed for each session that a page shows live."""

    def __init__(self, folder: SessionFolder) -> None:
        self._folder = folder
        self._lock = threading.Lock()
        self._by_name: dict[str, LiveFeed] = {}

    def of(self, name: str) -> LiveFeed:
        """The feed of a session.

        Raises:
            NotASession: there is none of that name.
        """
        path = self._folder.file(name)
        with self._lock:
            now_s = time.monotonic()
            for old in [n for n, one in self._by_name.items() if now_s - one.asked_s > _FORGET_S]:
                del self._by_name[old]
            if name not in self._by_name:
                self._by_name[name] = LiveFeed(path)
            return self._by_name[name]


def _present(present: Present) -> dict[str, str]:
    return {"sort": present.sort, "word": present.word, "text": present.text, "since": present.since}
