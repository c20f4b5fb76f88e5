"""A channel while it is recorded: its latest figures, for whoever shows them."""

from __future__ import annotations

import math
from collections import deque

from meterlog.events import Event
from meterlog.events.standing import Standing
from meterlog.reading import Flag, Quantity, Reading

RECENT_READINGS = 60
"""Readings kept for a small picture of the last moments, and for the rate."""

_GAP_INTERVALS, _GAP_AT_LEAST_S = 4.0, 1.0  # as the event `gap` of the analyzer


class LiveChannel:
    """The latest figures of one channel. Written by the recorder; a reader may see a value one reading older than
    another.

    Attributes:
        number: the channel's number in the session.
        meter: the number of its meter, from 0.
        label: what the person calls it.
        quantity: what is measured.
        count: readings so far, those held back by an armed capture too.
        kept: readings that went into the session.
        last: the latest reading.
        minimum: least finite value so far that was not doubtful; NaN before the first.
        maximum: greatest finite value so far that was not doubtful; NaN before the first.
        overloads: readings that were overload.
        rejected: frames of its meter that came damaged while it was shown.
        gaps: silences longer than four of its intervals and a second.
        recent: the last readings, oldest first.
        last_event: the event found last.
        standing: what the circuit does now; None where that is not known.
    """

    def __init__(self, number: int, meter: int, label: str, quantity: Quantity, interval_s: float | None) -> None:
        """Before its first reading."""
        self.number, self.meter, self.label, self.quantity = number, meter, label, quantity
        self.count = self.kept = self.overloads = self.gaps = self.rejected = 0
        self.last: Reading | None = None
        self.minimum = self.maximum = math.nan
        self.recent: deque[Reading] = deque(maxlen=RECENT_READINGS)
        self.last_event: Event | None = None
        self.standing: Standing | None = None
        self._interval_s = interval_s
        self._first_s = 0.0

    def add(self, readings: list[Reading]) -> None:
        """Take new readings."""
        for reading in readings:
            self._note_gap(reading.time_s)
            value = reading.value
            if math.isinf(value):
                self.overloads += 1
            elif reading.flags & Flag.DOUBTFUL:
                pass
            elif not value >= self.minimum:  # also when it is the first
                self.minimum = value
                if math.isnan(self.maximum):
                    self.maximum = value
            elif value > self.maximum:
                self.maximum = value
            self.count += 1
            self.last = reading
        self.recent.extend(readings)

    def _note_gap(self, time_s: float) -> None:
        if self.last is None:
            self._first_s = time_s
            return
        silent_s = time_s - self.last.time_s
        if silent_s > _GAP_AT_LEAST_S and self.count > 2:
            interval_s = self._interval_s or (self.last.time_s - self._first_s) / (self.count - 1)
            self.gaps += silent_s > _GAP_INTERVALS * interval_s

    @property
    def range(self) -> tuple[float, float]:
        """The least and the greatest finite value so far; NaN before the first."""
        return self.minimum, self.maximum

    @property
    def rate_hz(self) -> float:
        """Readings a second over the recent ones; NaN before the second reading."""
        recent = list(self.recent)
        span_s = recent[-1].time_s - recent[0].time_s if len(recent) > 1 else 0.0
        return (len(recent) - 1) / span_s if span_s > 0 else math.nan
