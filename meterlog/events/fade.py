"""A supply that falls slowly: the fast reference goes along, the slow one does not."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from meterlog.events.event import Event
from meterlog.events.measure import Measure
from meterlog.events.reference import WINDOW, Reference
from meterlog.events.settings import DetectionSettings
from meterlog.signal.levels import median
from meterlog.signal.track import Track
from meterlog.text.figures import seconds, shown

_HALF_WAY = 0.5
"""A slow fall is this share of its way to the sag threshold already, `fade_slow_s` before it gets there: a guess."""
_LOOKED_AT = 2048
"""Readings that are looked back over for that, at the most: bounds time."""
_SLOPE_S = 5.0
"""A slope is told of what sank for so long below the threshold, s: a guess, shorter it may be a step."""
_LEVEL_READINGS = 4
"""Readings whose median is the level of a supply that is falling: a choice, as few as make a reference."""


@dataclass(slots=True)
class Fade:
    """A fade that goes on.

    Attributes:
        start: the first reading below the slow threshold.
        start_s: when that was crossed, s.
        usual: the slow reference, V.
        below: the threshold, V.
        ends: the level at which it is over, V.
        lowest: the lowest undisturbed reading so far, V.
        lowest_s: when that was shown, s.
    """

    start: int
    start_s: float
    usual: float
    below: float
    ends: float
    lowest: float = inf
    lowest_s: float = 0.0

    def see(self, track: Track, start: int, stop: int) -> None:
        """Take undisturbed readings [start, stop) in."""
        values = track.values(start, stop)
        if len(values) and values.min() < self.lowest:
            self.lowest = float(values.min()) + 0.0  # and no minus zero
            self.lowest_s = track.time(stop - len(values) + int(values.argmin()))

    def event(self, measure: Measure, end_s: float, end: int | None) -> Event:
        """The fade as an event; `end` is the reading that ended it, None where the readings ended first."""
        took_s = self.lowest_s - self.start_s
        slope = (self.below - self.lowest) / took_s if took_s >= _SLOPE_S else 0.0
        words = f"sank from {self.usual:.2f} V to {self.lowest:.2f} V ({self.lowest / self.usual:.0%})"
        if slope > 0.0:
            words += f", by {shown(60.0 * slope, measure.unit)} a minute once below {self.below:.2f} V"
        if end is None:
            words += f", and had not recovered {seconds(end_s - self.start_s)} later, when the readings ended"
        return Event(
            "fade",
            measure.channel,
            self.start_s,
            end_s,
            end_s - self.start_s if end is not None else None,
            self._error_s(measure, end, slope) if end is not None else None,
            level=self.lowest,
            extreme=self.lowest,
            reference=self.usual,
            detail=words,
        )

    def _error_s(self, measure: Measure, end: int, slope: float) -> float:
        """Return how far off the duration may be: an interval at each edge, and what noise does to so slow a
        crossing, s."""
        interval_s, _ = measure.interval(end)
        noise = measure.noise(self.start, min(self.start + WINDOW, end))
        return 2.0 * interval_s + (noise / slope if slope > 0.0 else 0.0)


def fade_from(measure: Measure, reference: Reference, calm: int, index: int) -> Fade | None:
    """The fade that the undisturbed readings [calm, index) show; None where the supply stands where it usually does."""
    if not reference.value < reference.fade_below:
        return None
    track, below = measure.track, reference.fade_below
    first = max(calm, index - 2 * WINDOW)
    values = track.values(first, index)
    above = [at for at, value in enumerate(values.tolist()) if value >= below]
    start = first + above[-1] + 1 if above else first
    if start >= index:
        return None
    start_s = (track.time(start - 1) + track.time(start)) / 2 if above else track.time(start)
    fade = Fade(start, start_s, reference.slow, below, reference.fade_ends)
    fade.see(track, start, index)
    return fade


def falls_slowly(track: Track, reference: Reference, index: int, settings: DetectionSettings) -> float | None:
    """The level at reading `index`, the first below the sag threshold, when the supply sank there slowly, without a
    step; None where it did not."""
    since = max(reference.quiet, index - _LOOKED_AT)
    first = track.first_after(track.time(index) - settings.fade_slow_s, since, index)
    if first == since or index - first < _LEVEL_READINGS:
        return None
    before = median(track.values(first, min(first + _LEVEL_READINGS - 1, index - 1)))
    share = 1.0 - _HALF_WAY * (1.0 - settings.sag_share)
    level = median(track.values(index + 1 - _LEVEL_READINGS, index + 1))
    steady = track.value(index) >= share * before
    return level if before < share * reference.value and steady else None


class FadeWatch:
    """Watches for fades in one supply.

    Attributes:
        events: where they go.
    """

    def __init__(self, measure: Measure, events: list[Event], settings: DetectionSettings) -> None:
        self.events = events
        self._measure = measure
        self._settings = settings
        self._fade: Fade | None = None

    @property
    def ends_v(self) -> float:
        """The level at which the one that goes on is over, V; inf while there is none."""
        return inf if self._fade is None else self._fade.ends

    def see(self, start: int, stop: int) -> None:
        """Take undisturbed readings [start, stop) in."""
        if self._fade is not None:
            self._fade.see(self._measure.track, start, stop)

    def begin(self, reference: Reference, calm: int, index: int) -> None:
        """Tell whether the undisturbed readings [calm, index) show that one has begun."""
        if self._fade is None:
            self._fade = fade_from(self._measure, reference, calm, index)

    def end(self, end_s: float, index: int | None) -> None:
        """End what goes on with reading `index`, or with the readings where None; a short one is none."""
        if self._fade is not None and end_s - self._fade.start_s >= self._settings.fade_at_least_s:
            self.events.append(self._fade.event(self._measure, end_s, index))
        self._fade = None
