"""Times, levels and errors of what lies between two edges on one channel."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from meterlog.events.settings import DetectionSettings
from meterlog.reading import Accuracy, Quantity
from meterlog.roles import Role
from meterlog.session.model import Channel, Marker
from meterlog.signal.edges import Edge, Window, edge_time, place_edge, place_switching_off, time_between
from meterlog.signal.levels import MAD_TO_DEVIATION, median
from meterlog.signal.track import Track

_INTERVAL_READINGS = 32
"""Readings before an event that tell interval, jitter and noise there: a choice."""
_OTHER_RATE = 2.0
"""Readings that come so many times faster or slower than before have another rate by now: a guess."""
_NEAR_READINGS = 4
"""Readings of a level next to an edge: a choice; fewer, and noise moves the edge."""
_MOST_HELD = 4096
"""Readings of a long event that its level is taken from: bounds time."""
_NOISE_DEVIATIONS = 3.0
"""Stray of readings at rest, in deviations: 3 leave 0.3 % outside (normal noise)."""


class Timing(NamedTuple):
    """Says when something began and ended, how long it took, and the error of that, s."""

    start_s: float
    end_s: float
    duration_s: float
    error_s: float


@dataclass(slots=True)
class Measure:
    """One channel's meter as known so far: its window as learned from the edges so far, and its accuracy."""

    channel: int
    track: Track
    accuracy: Accuracy
    unit: str
    window: Window = field(default_factory=Window)

    def interval(self, index: int) -> tuple[float, float]:
        """The interval and the jitter of one time stamp as known at reading `index`, s."""
        nominal = self.track.nominal_s(index)
        spacing = np.diff(self.track.times(max(0, index - _INTERVAL_READINGS), index + 1))
        if not len(spacing):
            return 0.0, 0.0
        middle = median(spacing)
        jitter = MAD_TO_DEVIATION * median(np.abs(spacing - middle)) / 2.0**0.5
        same_rate = 1.0 / _OTHER_RATE < nominal / middle < _OTHER_RATE if middle > 0.0 else nominal == nominal
        return (nominal if same_rate else middle), jitter

    def noise(self, start: int, stop: int) -> float:
        """Half-width of what readings at rest stray, from the last of those in [start, stop)."""
        values = self.track.values(max(start, stop - _INTERVAL_READINGS), stop)
        if len(values) < _NEAR_READINGS:
            return 0.0
        return _NOISE_DEVIATIONS * MAD_TO_DEVIATION * median(np.abs(values - median(values)))

    def before(self, index: int, start: int) -> float:
        """The level that reigned before an edge at `index`, from readings not before `start`.

        The reading next to the edge may be partial, so it is left out where there are others.
        """
        return self._median(max(start, index - 1 - _NEAR_READINGS), max(index - 1, start + 1))

    def after(self, index: int, stop: int) -> float:
        """The level that reigned after an edge at `index`, from readings before `stop`; as `before`."""
        return self._median(min(index + 1, stop - 1), min(index + 1 + _NEAR_READINGS, stop))

    def inside(self, start: int, stop: int) -> float:
        """The level of readings [start, stop), the outer ones left out where they may be partial."""
        stop = min(stop, start + _MOST_HELD)
        if stop - start >= 3:
            return self._median(start + 1, stop - 1)
        return float(self.track.values(start, stop).min()) + 0.0  # and no minus zero

    def lowest(self, start: int, stop: int) -> float:
        """The lowest of readings [start, stop) that are still held."""
        return float(self.track.values(start, stop).min()) + 0.0  # and no minus zero

    def _median(self, start: int, stop: int) -> float:
        return median(self.track.values(start, stop))

    def edge(self, near: int, before: float, after: float, noise: float, stop: int) -> Edge:
        """The edge from one level to another whose mid level is crossed at reading `near`, or one beside it."""
        return place_edge(self.track, self._crossed(near, before, after, stop), before, after, noise, stop)

    def switched_off(self, near: int, before: float, after: float, noise: float, stop: int, rise: Edge | None) -> Edge:
        """As `edge`, of a supply that went on with edge `rise`, goes off, and may be held up by what it fed."""
        known = self.window.with_edge(rise)
        index = self._crossed(near, before, after, stop)
        averages = known.partial > known.clean
        return place_switching_off(self.track, index, before, after, noise, stop, averages=averages)

    def _crossed(self, near: int, before: float, after: float, stop: int) -> int:
        """Return the first reading beyond the mid level, beside reading `near`."""
        middle = (before + after) / 2
        index = near - 1
        while index < min(near + 1, stop - 1) and (self.track.value(index) > middle) == (before > middle):
            index += 1
        return max(index, 1)

    def settled(self, start: int, stop: int) -> float:
        """The level that readings [start, stop) came to: that of their second half."""
        return self._median((start + stop) // 2, stop)

    def timing(self, start: Edge, end: Edge, index: int) -> Timing:
        """The time between two edges, judged at reading `index`; the edges are learned from."""
        self.window.learn(start, end)
        interval_s, jitter_s = self.interval(index)
        duration, error = time_between(start, end, self.window, interval_s, jitter_s)
        begin, finish = (edge_time(edge, self.window, interval_s) for edge in (start, end))
        return Timing(begin, finish, max(duration, 0.0), error)

    def when(self, edge: Edge, index: int) -> float:
        """The most likely time of an edge, judged at reading `index`, s."""
        return edge_time(edge, self.window, self.interval(index)[0])


class Watched(NamedTuple):
    """The channel that a detector's machine is made for, with what it needs.

    Attributes:
        channel: as recorded.
        measure: its own: what it learns of the meter's window must not depend on how far another machine has come.
        settings: what counts as an event.
        markers: the session's; more may be added while it grows.
    """

    channel: Channel
    measure: Measure
    settings: DetectionSettings
    markers: list[Marker]

    @property
    def against_ground(self) -> bool:
        """Tell whether the channel is a DC voltage that is no drop across a part."""
        return self.channel.quantity is Quantity.DC_VOLTAGE and self.channel.measurand.role is not Role.DROP
