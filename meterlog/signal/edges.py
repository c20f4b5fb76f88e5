"""Places an edge inside a reading interval, and says how well that is known.

A meter shows the average of a window of unknown length T before the reading, T between nothing (it samples) and about
one interval d. An edge inside the window leaves one *partial* reading between the two levels, and its value places the
edge: at T x (share of the new level) before that reading. An edge outside every window leaves a clean step, and lies
anywhere between the earlier reading and the later one's window. How many edges of a channel were partial tells T:
an edge is partial with the probability T/d, so T/d is judged by a Beta posterior (from a uniform prior) that the
channel's edges so far have shaped.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

from meterlog.signal.track import Track

_CLEAN_SHARE = 0.06
"""A reading within this share of a step of one of its levels shows that level: a guess, above usual meters' noise."""
_SLOW_HALF_INTERVAL = 0.5
"""Half-width of an edge that several readings were on their way through, in intervals: nothing tells more."""
_SETTLED_SHARE = 0.004
"""Says what is left of a step when it counts as settled: a guess, 0.05 V of 12 V."""
_DECAY_HALF_INTERVAL = 0.25
"""Least half-width of an edge that a decay leads back to, in intervals: a guess."""
_DECAY_WINDOW = 0.5
"""An average of a decay lies this many windows behind it: arithmetic, for a decay slower than the window."""
_SHAPE_ERROR = 0.05
"""Least error of an edge, in intervals: clocks and rounding. A guess."""
_DECAY_ERROR = 0.35
"""A decaying window in place of a box moves an edge by this times share x (1 - share), in intervals:
some 0.09 at the middle. A guess."""
_MOST_STRAY = 0.45
"""Noise above this share of a step leaves no room for partial readings: just under the mid level."""
_TELLING_STRAY = 0.15
"""Edges noisier than this share of the step teach nothing about the window: a guess."""
_MISSING_INTERVALS = 4.0
"""Above this sum of both half-widths, in intervals, readings are missing at an edge, and nothing says that it lies
anywhere there alike: then all of it is the error. A choice."""
_COVER = 2.05
"""Deviations of the sum of two equal uniform errors that cover 97 % of it (arithmetic)."""


class Edge(NamedTuple):
    """One edge.

    Attributes:
        base_s: the place of the edge for an averaging window of nothing, s.
        share: the edge lies this many windows before `base_s`.
        half_s: half-width of what else is not known, s: uniform for a clean edge.
        partial: whether a partial reading placed it.
        clean: whether the step was clean.
        strays: readings at rest stray this share of the step, so partial readings nearer to a level are not seen.
        time_error_s: how far the times of the readings beside it may be wrong, s.
    """

    base_s: float
    share: float
    half_s: float
    partial: bool
    clean: bool
    strays: float
    time_error_s: float = 0.0


@dataclass(slots=True)
class Window:
    """The meter's averaging window as a share of its interval, learned from a channel's edges."""

    partial: float = 1.0
    clean: float = 1.0

    def learn(self, *edges: Edge) -> None:
        """Count edges in."""
        for edge in edges:
            if edge.strays <= _TELLING_STRAY:
                self.partial += edge.partial
                self.clean += edge.clean

    def with_edge(self, edge: Edge | None) -> Window:
        """Return the same with one more edge counted in."""
        window = Window(self.partial, self.clean)
        window.learn(*([] if edge is None else [edge]))
        return window

    @property
    def share(self) -> float:
        """The expected window in intervals."""
        return self.partial / (self.partial + self.clean)

    @property
    def deviation(self) -> float:
        """The standard deviation of that."""
        total = self.partial + self.clean
        return math.sqrt(self.partial * self.clean / (total * total * (total + 1.0)))


def place_edge(track: Track, index: int, before: float, after: float, noise: float, stop: int) -> Edge:
    """Place an edge; see `_by_values` for the arguments."""
    edge = _by_values(track, index, before, after, noise, stop)
    error_s = max(track.time_error_s(index - 1), track.time_error_s(index))
    return edge._replace(time_error_s=error_s) if error_s else edge


def _by_values(track: Track, index: int, before: float, after: float, noise: float, stop: int) -> Edge:
    """Place the edge whose mid level is crossed between readings `index` - 1 and `index`.

    Args:
        track: the channel's readings.
        index: the first reading beyond the mid level.
        before: the level before the edge, in the channel's unit.
        after: the level after it.
        noise: half-width of what a reading at rest strays, in the channel's unit.
        stop: readings from here on must not be used.
    """
    early, late = track.time(index - 1), track.time(index)
    step = after - before
    if step == 0.0:
        return Edge((early + late) / 2, 0.0, (late - early) / 2, False, False, 1.0)
    strays = min(max(_CLEAN_SHARE, noise / abs(step)), _MOST_STRAY)

    def share(at: int) -> float:
        return (track.value(at) - before) / step

    low, high = share(index - 1), share(index)
    first, second = low > strays, high < 1.0 - strays
    slow = (first and second) or (first and index >= 2 and share(index - 2) > strays)
    slow = slow or (second and index + 1 < stop and share(index + 1) < 1.0 - strays)
    if slow:
        return crossing(track, index, (before + after) / 2)._replace(strays=strays)
    if first:
        return Edge(early, low, _shape(low, strays) * (late - early), True, False, strays)
    if second:
        return Edge(late, high, _shape(high, strays) * (late - early), True, False, strays)
    return Edge((early + late) / 2, 0.5, (late - early) / 2, False, True, strays)


def place_switching_off(
    track: Track, index: int, before: float, after: float, noise: float, stop: int, *, averages: bool
) -> Edge:
    """Place the edge where a supply was switched off: what it fed may hold it up for a while, and bleed away.

    A pump generates while it spins down, a capacitor discharges: then the first reading below the mid level is on its
    way because it decays, and not because the meter averaged. Two readings of a decay tell its time constant, and that
    leads back to the mid level; how much was held up at first is not known, so the edge may be the instant of the
    switch as well. Where the second is down in the noise, a decay and an average cannot be told apart: it is an average
    where the meter `averages`, by its other edges, and else the edge may be anywhere in the interval.

    The other arguments are those of `place_edge`.
    """
    edge = place_edge(track, index, before, after, noise, stop)
    step, early, late = before - after, track.time(index - 1), track.time(index)
    held, settled = track.value(index) - after, max(noise, _SETTLED_SHARE * step)
    at_level = before - track.value(index - 1) <= max(_CLEAN_SHARE * step, noise)
    if step <= 0.0 or not at_level or held <= max(_CLEAN_SHARE * step, noise) or index + 1 >= stop:
        return edge
    left = track.value(index + 1) - after
    if left <= settled:
        return (
            edge
            if averages
            else edge._replace(base_s=(early + late) / 2, share=0.0, half_s=(late - early) / 2, partial=False)
        )
    constant_s = (track.time(index + 1) - late) / math.log(held / left) if left < held else math.inf
    middle_s, switched_s = (max(late - constant_s * math.log(top / held), early) for top in (step / 2, step))
    half_s = max(_DECAY_HALF_INTERVAL * (late - early), middle_s - switched_s)
    return edge._replace(base_s=middle_s, share=_DECAY_WINDOW, half_s=half_s, partial=False)


def crossing(track: Track, index: int, level: float) -> Edge:
    """Place the edge of what is on its way where it crosses a level, between readings `index` - 1 and `index`.

    Half way between the two where they are equal: an outage of one reading has both its edges there.
    """
    early, late = track.time(index - 1), track.time(index)
    low, high = track.value(index - 1), track.value(index)
    part = (level - low) / (high - low) if high != low else 0.5
    crossed = early + (late - early) * min(max(part, 0.0), 1.0)
    time_error_s = max(track.time_error_s(index - 1), track.time_error_s(index))
    return Edge(crossed, 0.5, _SLOW_HALF_INTERVAL * (late - early), False, False, _MOST_STRAY, time_error_s)


def _shape(share: float, strays: float) -> float:
    """Return how far off a partial reading may place its edge, in intervals.

    How a reading weighs its window is not known: a box, or a decay, which places an edge up to a quarter of the
    interval elsewhere, most for middle shares.
    """
    return strays + _SHAPE_ERROR + _DECAY_ERROR * share * (1.0 - share)


def edge_time(edge: Edge, window: Window, interval_s: float) -> float:
    """The most likely time of an edge, s."""
    return edge.base_s - edge.share * window.share * interval_s


def time_between(start: Edge, end: Edge, window: Window, interval_s: float, jitter_s: float) -> tuple[float, float]:
    """The time from one edge to another and its error, s.

    A clean step leaves one interval's worth of ignorance. Two uniform errors of half-widths a and b add up to a
    deviation of sqrt((a^2 + b^2) / 3), of which 2.05 cover 97 % where both are equal. The unknown window shifts both
    edges alike, so only the difference of their shares carries its error.
    """
    spread = window.deviation * interval_s
    duration = (end.base_s - start.base_s) - (end.share - start.share) * window.share * interval_s
    halves = [_half(edge, window, interval_s) + edge.time_error_s for edge in (start, end)]
    uniform = sum(halves)
    if uniform <= _MISSING_INTERVALS * interval_s:
        uniform = min(uniform, _COVER * math.hypot(*halves) / math.sqrt(3.0))
    error = math.sqrt(uniform**2 + (2.0 * spread * (end.share - start.share)) ** 2 + 2.0 * (2.0 * jitter_s) ** 2)
    return duration, error


def _half(edge: Edge, window: Window, interval_s: float) -> float:
    if not edge.clean:
        return edge.half_s
    # A clean step leaves the window of the later reading out: the longer the window, the better it is known.
    least = max(window.share - 2.0 * window.deviation, 0.0) * max(1.0 - 2.0 * edge.strays, 0.0)
    return max(edge.half_s - least * interval_s / 2, _SHAPE_ERROR * interval_s)
