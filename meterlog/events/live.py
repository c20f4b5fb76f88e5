"""The same detectors while readings come: the events are those that a later analysis of the whole channel finds.

Most readings change nothing. They only wait in a list until one comes that might, or until the sliding reference is
due, and then go through the machines together; so a reading costs about a microsecond on average.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from meterlog.events.detect import ChannelDetector
from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings
from meterlog.events.standing import Standing
from meterlog.events.untrusted import TELLING
from meterlog.reading import Flag, Reading
from meterlog.series import Series
from meterlog.session.model import Channel, Marker

_MOST = 256


class LiveDetector:
    """Finds the events of one growing channel. Not for use from several threads at once."""

    def __init__(
        self, channel: Channel, settings: DetectionSettings | None = None, markers: Sequence[Marker] = ()
    ) -> None:
        """Start before the channel's first reading; see `detect` for the arguments."""
        self._settings = settings or DetectionSettings()
        self._detector = ChannelDetector(channel, self._settings, markers)
        self._size: Callable[[float], float] = float if self._detector.signed else abs
        self._waiting: list[Reading] = []
        self._last_s = -np.inf
        self._low, self._high = np.inf, -np.inf
        self._room = 0
        self._plain: Flag | None = None
        self._told = False

    def feed(self, readings: Sequence[Reading]) -> list[Event]:
        """Take readings in time order, times in s from the session's start; what is certain now and was not before."""
        low, high, last_s, plain, size = self._low, self._high, self._last_s, self._plain, self._size
        longest_s = self._settings.gap_at_least_s
        due = False
        for reading in readings:
            if not low <= size(reading.value) < high or reading.time_s - last_s > longest_s:
                due = True
            if reading.flags is not plain:  # flags are single objects, and mostly the same as before
                plain = reading.flags
                due = due or self._told or bool(int(plain) & TELLING)
                self._told = bool(int(plain) & TELLING)
            last_s = reading.time_s
        self._plain = plain
        due = due or self._told
        self._last_s = last_s
        self._waiting.extend(readings)
        return self._work() if due or len(self._waiting) >= self._room else []

    def marker(self, marker: Marker) -> None:
        """Take a marker."""
        self._detector.mark(marker)
        self._low, self._high = np.inf, -np.inf

    def finish(self) -> list[Event]:
        """The readings have come to their end: what that makes certain."""
        found = self._work()
        self._detector.finish()
        return found + self._detector.fresh()

    @property
    def standing(self) -> Standing | None:
        """Return what the circuit does after the last reading; None before that is known."""
        return self._detector.standing

    @property
    def events(self) -> list[Event]:
        """Everything found so far, in time order; after `finish` the same as a later analysis finds.

        An announced loss of supply has its end here, once the supply is back.
        """
        return self._detector.events

    def _work(self) -> list[Event]:
        waiting, self._waiting = self._waiting, []
        if waiting:
            self._detector.feed(
                Series(
                    np.array([r.time_s for r in waiting], dtype=np.float64),
                    np.array([r.value for r in waiting], dtype=np.float64),
                    np.array([r.resolution for r in waiting], dtype=np.float32),
                    np.array([int(r.flags) for r in waiting], dtype=np.uint16),
                    np.array([r.time_error_s for r in waiting], dtype=np.float32),
                )
            )
        self._low, self._high = self._detector.band
        self._room = min(max(self._detector.until + 1, 1), _MOST)
        return self._detector.fresh()
