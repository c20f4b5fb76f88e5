"""Ohms: where a circuit opens (`open_circuit`) and where a steady resistance changes (`resistance_step`).

States: `seek` before a steady resistance; `steady`; `open`. Leads that are open before the first contact are not an
event.
"""

from __future__ import annotations

from collections.abc import Callable
from math import inf

import numpy as np

from meterlog.events.event import Event
from meterlog.events.measure import Measure, Watched
from meterlog.events.range_change import LONGEST_S, is_ranging
from meterlog.events.settings import DetectionSettings
from meterlog.events.standing import Standing
from meterlog.kinds import found_by
from meterlog.reading import Accuracy, Quantity
from meterlog.signal.levels import median
from meterlog.text.figures import shown

_STEADY = 4
_WITHIN = 0.1
_WINDOW = 64
_EVERY = 16
_OVERLOAD_LAG = 0.5
_OVERLOAD_ERROR = 1.2
"""A meter that averages may show overload as soon as any part of its window was open, so that the last overload comes
up to one interval late; one that samples does not. Where no half open reading has told which meter it is, the end is
taken half an interval earlier. Of the two uniform edge errors and that shift (both in intervals, either meter) 95 % lie
within 1.5 - sqrt(0.1) = 1.18: arithmetic."""


_LEAST_COUNTS = 1999.0
"""Counts of the coarsest displays: what is above so many of one range's lies in the next, and overload came first."""
_ONE_BETWEEN = 2
"""Readings so far apart have one between them."""
_MUCH_HIGHER = 2.0
"""A resistance so many times the one before may lie in another range: a guess, ranges are some three to ten apart."""


OHMS = (Quantity.RESISTANCE, Quantity.CONTINUITY)
"""Quantities shown in ohms, of which an overload means an open circuit."""


def machine(watched: Watched) -> Resistance | None:
    """Make the machine of a channel that is measured in ohms."""
    return Resistance(watched.measure, watched.settings) if watched.channel.quantity in OHMS else None


class Resistance:
    """The state machine for one channel of resistance or continuity."""

    def __init__(self, measure: Measure, settings: DetectionSettings) -> None:
        self.events: list[Event] = []
        self.looks_for = found_by("resistance")
        self._measure = measure
        self._track = measure.track
        self._settings = settings
        self._accuracy: Accuracy = measure.accuracy
        self._steps: dict[str, Callable[[int], None]] = {
            "seek": self._seek,
            "steady": self._steady,
            "open": self._opened,
        }
        self._level: float | None = None
        self._quiet = self._opened_at = 0
        self._shows_half_open = False
        self._restart(0)

    @property
    def needs(self) -> int:
        """The oldest reading that may still be asked for."""
        oldest = min(self._pos, self._from)
        return (min(oldest, self._opened_at) if self._state == "open" else oldest) - 2 * _WINDOW

    def _restart(self, index: int) -> None:
        self._state = "seek"
        self._pos = self._from = self._segment = self._update_at = index
        self._touched = False

    @property
    def standing(self) -> Standing | None:
        """Return the state after the last reading."""
        if self._state == "open":
            return Standing("open", self._track.time(self._opened_at), self._level, True)
        if self._state == "seek" and not self._touched:
            return Standing("untouched")
        return Standing("closed", None, self._level)

    def advance(self, stop: int) -> None:
        """Go on to reading `stop` (not included)."""
        while self._pos < stop:
            self._steps[self._state](stop)

    def interrupt(self, index: int) -> None:
        """Readings are missing before reading `index`."""
        self.finish()
        level = self._level
        self._restart(index)
        self._level = level

    def finish(self) -> None:
        """The readings have come to their end."""
        if self._state == "open":
            self._end_open(self._pos, closed=False)

    @property
    def band(self) -> tuple[float, float]:
        """Values low <= value < high change nothing until reading `until`."""
        if self._state != "steady":
            return inf, -inf
        level = self._level or 0.0
        return level - self._band(), level + self._band()

    @property
    def until(self) -> int:
        """The reading at which the steady level is taken anew."""
        return self._update_at

    def _is_open(self, value: float) -> bool:
        if value == inf:
            return True
        return self._level is not None and value > max(
            self._settings.open_ratio * self._level, self._settings.open_at_least_ohm
        )

    def _band(self) -> float:
        """Return how far a steady resistance may stray: the step share, or the meter's own error where that is more."""
        level = self._level or 0.0
        return max(self._settings.step_share * level, 2 * self._error(level))

    def _error(self, level: float) -> float:
        return self._accuracy.error(level, self._track.resolution(min(self._pos, self._track.count - 1)))

    def _seek(self, _stop: int) -> None:
        """Wait for some readings that agree."""
        value = self._track.value(self._pos)
        if self._is_open(value):
            if self._touched:
                self._open(self._pos)
                return
            self._from = self._pos + 1
        else:
            self._touched = True
            self._steady_at(self._pos + 1)
        self._pos += 1

    def _steady_at(self, stop: int) -> None:
        values = self._track.values(max(self._from, stop - _STEADY), stop)
        if len(values) < _STEADY:
            return
        level = median(values)
        if np.abs(values - level).max() > max(_WITHIN * level, self._error(level)):
            return
        old, self._level = self._level, level
        if old is not None and abs(level - old) > max(
            self._settings.step_share * old, self._error(level) + self._error(old)
        ):
            self._step(old, level, stop)
        self._state = "steady"
        self._quiet = stop - _STEADY
        self._update_at = stop + _STEADY

    def _step(self, old: float, new: float, stop: int) -> None:
        """A new steady level, reached by reading `stop` - 1."""
        index = stop - _STEADY
        start = self._track.time(max(self._from - 1, self._segment))
        end = self._track.time(index)
        self.events.append(
            Event(
                "resistance_step",
                self._measure.channel,
                start,
                end,
                level=new,
                extreme=new,
                reference=old,
                detail=f"the steady resistance went from {old:.4g} to {new:.4g} ohm ({new / old - 1:+.0%})"
                if old > 0
                else f"the steady resistance went from {old:.4g} to {new:.4g} ohm",
            )
        )

    def _steady(self, stop: int) -> None:
        if self._pos >= self._update_at:
            values = self._track.values(max(self._quiet, self._pos - _WINDOW), self._pos)
            self._level = median(values)
            self._update_at = self._pos + _EVERY
        level = self._level or 0.0
        limit = min(stop, self._update_at)
        self._pos = self._track.first_outside(self._pos, limit, level - self._band(), level + self._band())
        if self._pos == limit:
            return
        if self._is_open(self._track.value(self._pos)):
            self._open(self._pos)
        else:
            self._state, self._from, self._touched = "seek", self._pos, True

    def _open(self, index: int) -> None:
        """The circuit was open by reading `index`; by the one before, where an averaging meter shows that half open."""
        self._pos = index + 1
        partial = index - 1 > self._segment and self._half_open(index - 1) and not self._half_open(index - 2)
        self._state, self._opened_at = "open", index - 1 if partial else index
        self._shows_half_open |= partial

    def _half_open(self, index: int) -> bool:
        return self._level is not None and self._track.value(index) > self._level + 2.0 * self._band()

    def _opened(self, stop: int) -> None:
        high = inf
        if self._level is not None:
            high = max(self._settings.open_ratio * self._level, self._settings.open_at_least_ohm)
        self._pos = self._track.first_outside(self._pos, stop, high, inf)
        if self._pos < stop:
            # Also where the first number is a half open one: the circuit closed in that reading's window.
            self._shows_half_open |= self._half_open(self._pos)
            self._end_open(self._pos, closed=True)

    def _ranged_up(self, before: int, after: int) -> bool:
        """Tell whether the overload between two readings was that of a range which the new resistance is above.

        Its count says so; where a table has one for all ranges, a single overload before a much higher resistance does.
        """
        track, count = self._track, self._track.resolution(before)
        value, wait_s = track.value(after), track.time(after) - track.time(before)
        level = self._level or 0.0
        if before < self._segment or wait_s > LONGEST_S or value <= level + self._band():
            return False
        by_count = is_ranging(wait_s, count, track.resolution(after)) and value > _LEAST_COUNTS * count
        return by_count or (after - before <= _ONE_BETWEEN and value >= _MUCH_HIGHER * level > 0.0)

    def _end_open(self, stop: int, closed: bool) -> None:
        start = self._opened_at
        track = self._track
        if closed and self._ranged_up(start - 1, stop):
            self._state, self._from, self._pos, self._touched = "seek", stop, stop, True
            return
        begin_s = (track.time(start - 1) + track.time(start)) / 2
        last_s = track.time(stop - 1)
        duration = error = None
        if closed:
            end_s = (last_s + track.time(stop)) / 2
            error = (track.time(start) - track.time(start - 1) + track.time(stop) - last_s) / 2
            if not self._shows_half_open:
                end_s -= _OVERLOAD_LAG * error
                error *= _OVERLOAD_ERROR
            duration = end_s - begin_s
            error += max(track.time_error_s(start - 1), track.time_error_s(start))
            error += max(track.time_error_s(stop - 1), track.time_error_s(stop))
            error = float(np.hypot(error, 3.0 * self._measure.interval(stop)[1]))
            detail = f"open for {shown(duration, 's', error)}"
        else:
            end_s = last_s
            detail = "open, and still open at the last reading: an open circuit, or the leads were taken off"
        self.events.append(
            Event(
                "open_circuit",
                self._measure.channel,
                begin_s,
                end_s,
                duration,
                error,
                reference=self._level,
                detail=detail,
            )
        )
        self._state, self._from, self._pos, self._touched = "seek", stop, stop, True
