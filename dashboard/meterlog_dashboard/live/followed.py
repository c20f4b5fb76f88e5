"""A channel that a page follows, as far as it was read: its last readings, and their figures."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from itertools import islice
from typing import Any

import numpy as np

from meterlog.capture.notices import Detector
from meterlog.drawing.scale import Seen
from meterlog.reading import Reading
from meterlog.session import Channel

KEPT = 1500
"""Readings a channel that a page which comes late is given: 2.5 minutes at 10 readings/s."""

_STEPS = 40
"""Steps between readings whose median is the interval; with fewer than `_LEAST_STEPS` the session's own counts."""
_LEAST_STEPS = 4
"""Fewer steps say nothing of the interval; a guess."""


@dataclass(slots=True)
class Point:
    """A reading on its way to the browser: sequence number, time, value; None breaks the line or is an overload."""

    sequence: int
    time_s: float
    value: float | None
    overload: bool = False


@dataclass
class Followed:
    """One channel, as far as it was read."""

    channel: Channel
    detector: Detector
    cursor: int = 0
    points: deque[Point] = field(default_factory=lambda: deque(maxlen=KEPT))
    steps: deque[float] = field(default_factory=lambda: deque(maxlen=_STEPS))
    last: Reading | None = None
    low: float = math.inf
    high: float = -math.inf
    count: int = 0

    @property
    def interval_s(self) -> float | None:
        """Between readings, s: the median of the last ones."""
        if len(self.steps) >= _LEAST_STEPS:
            return float(np.median(self.steps))
        return self.channel.interval_s

    @property
    def last_s(self) -> float:
        """The time of its last reading, s; -inf while there is none."""
        return self.last.time_s if self.last else -math.inf

    @property
    def seen(self) -> Seen:
        """Return what its scale goes by."""
        resolution = self.last.resolution if self.last else math.nan
        span = (self.low, self.high) if self.low <= self.high else None
        return Seen(self.channel, span, 0.0 if math.isnan(resolution) else resolution)

    def columns(self, after: int) -> list[list[Any]]:
        """Times, values, overloads of the points after a sequence number; those are at the right end."""
        new = 0
        for point in reversed(self.points):
            if point.sequence <= after:
                break
            new += 1
        some = list(islice(self.points, len(self.points) - new, None))
        return [
            [round(point.time_s, 4) for point in some],
            [point.value for point in some],
            [int(point.overload) for point in some],
        ]
