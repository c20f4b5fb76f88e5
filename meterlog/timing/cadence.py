"""Readings at the times at which they were shown, where a link delivers several at one moment.

Serial servers, RFCOMM and Bluetooth links, and a computer that was busy do that. Where looks come one at a time,
arrival gives their time and costs nothing. Once a chunk brings several, or they come in beats that are not a meter's,
they are spread back over the meter's own cadence (see `phase.py`), and each carries how far that may be wrong.
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise
from math import inf
from statistics import median

from meterlog.reading import Reading
from meterlog.timing.phase import Bounds, Phase

_REMEMBERED = 16
"""The last looks, or bundles, by which a link is judged: some seconds' worth. A choice."""
_MOST_BUNDLES = 1.5
"""More bundles than this among those remembered, later ones counting more, and what comes alone waited too; a lone one
is a computer that was busy for a moment. A choice."""
_UNEVEN_SHARE = 0.3
"""A look is uneven that comes this share of the usual spacing early or late: a choice."""
_MOST_UNEVEN = 3.0
"""More uneven looks than this among those remembered, and the link has beats of its own: a choice (a beat that is not
the meter's makes a third of them uneven, or more)."""
_MOST_UNEVEN_SHARE = 1 / 4
"""The same for a period that is to be learnt from them: a choice."""
_LEAST_LOOKS = 4
"""Looks that came alone without which they tell no period: a choice."""
_PERIOD_ERROR_SHARE = 0.02
"""Share by which they tell it: a guess."""
_PAUSE_SPACINGS = 4.0
"""So many usual spacings are a pause, as for the analyzer's gap."""
_WAIT_MARGIN = 2.0
"""A look may wait so many times the longest wait of the bundles remembered: a guess; more would hide gaps."""
_TOGETHER_S = 0.08
"""Readings that arrived so far apart did not come together, though they may have been told together, s: longer than a
frame takes on the wire, shorter than displays show. A guess."""
_FLOWING_S = 0.02
"""Bytes on a wire that follow one another so closely flow without a pause, and nothing waited, s: above the 16 ms that
USB adapters hold bytes back (default, unverified)."""
_SOON_S = 0.05
"""Several looks so soon after the opening had waited, nobody knows how long, s: a guess."""
_SLOWEST_S = 1.0
"""They are taken to have come as slowly as the slowest displays show, one in this time, s: a guess."""
_MICROSECONDS = 6
"""Decimals of a stated error, s: what a session file holds."""


class Cadence:
    """Times the readings of one connection.

    Args:
        opened_s: when the link was opened, s: nothing is timed before that.
        wire: whether bytes come over a wire, so that what comes alone came when it was shown.
    """

    def __init__(self, opened_s: float, wire: bool) -> None:
        self._wire = wire
        self._arrived_s = self._told_s = opened_s
        self._heard = False
        self._alone_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._usual_s = self._uneven = 0.0
        self._sizes: deque[int] = deque([1], maxlen=_REMEMBERED)
        self._waits_s: deque[float] = deque(maxlen=_REMEMBERED)
        self._bundles = 0.0
        self._phase: Phase | None = None

    def timed(self, readings: list[Reading]) -> list[Reading]:
        """Give what one chunk completed the times at which it was shown.

        Args:
            readings: in order, each with the latest time at which it can have been shown, by arrival.
        """
        if len(readings) < 2:
            return self._together(readings) if readings else readings
        timed: list[Reading] = []
        start = 0
        for stop in range(1, len(readings) + 1):
            if stop == len(readings) or readings[stop].time_s - readings[stop - 1].time_s > _TOGETHER_S:
                timed += self._together(readings[start:stop])
                start = stop
        return timed

    def _together(self, readings: list[Reading]) -> list[Reading]:
        """Time readings that came together, one or more."""
        last_s = readings[-1].time_s
        if len(readings) == 1 or _looks(readings)[-1] == 0:
            self._bundles *= 1.0 - 1.0 / _REMEMBERED
            self._note_spacing(last_s)
            alone = self._bundles <= _MOST_BUNDLES and self._uneven <= _MOST_UNEVEN
        else:
            flowing = self._wire and readings[0].time_s - self._arrived_s < _FLOWING_S
            alone = flowing and self._bundles <= _MOST_BUNDLES
            self._bundles += not alone
        if not alone:
            return self._spread(readings)
        self._phase = None
        self._arrived_s = self._told_s = last_s
        self._heard = True
        return readings

    def _note_spacing(self, arrival_s: float) -> None:
        """Learn how evenly looks come that come alone."""
        if not self._heard:
            return
        spacing_s = arrival_s - self._arrived_s
        self._uneven *= 1.0 - 1.0 / _REMEMBERED
        if not self._usual_s:
            self._usual_s = spacing_s
        elif spacing_s > _PAUSE_SPACINGS * self._usual_s:
            return
        elif not self._wire:
            self._uneven += abs(spacing_s - self._usual_s) > _UNEVEN_SHARE * self._usual_s
        self._usual_s += (spacing_s - self._usual_s) / _REMEMBERED
        self._alone_s.append(arrival_s)

    def _spread(self, readings: list[Reading]) -> list[Reading]:
        """Spread a bundle back over the cadence."""
        looks = _looks(readings)
        arrivals_s = [0.0] * (looks[-1] + 1)
        for reading, look in zip(readings, looks, strict=True):
            arrivals_s[look] = reading.time_s
        count, last_s = len(arrivals_s), arrivals_s[-1]
        before_s = self._arrived_s
        if not self._heard and last_s - before_s < _SOON_S:
            before_s = last_s - count * _SLOWEST_S
        if self._phase is None:
            self._phase = self._first_phase()
        waited_s = inf if count > max(self._sizes) + 1 else self._longest_wait_s
        shown = self._phase.bundle(arrivals_s, min(before_s, last_s), waited_s)
        self._sizes.append(count)
        self._waits_s.append(last_s - before_s)
        self._arrived_s, self._heard = last_s, True
        timed = []
        for reading, look in zip(readings, looks, strict=True):
            time_s, error_s = shown[look]
            told_s = self._told_s = max(time_s, min(self._told_s, reading.time_s))
            timed.append(
                reading._replace(time_s=told_s, time_error_s=round(error_s + abs(told_s - time_s), _MICROSECONDS))
            )
        return timed

    @property
    def _longest_wait_s(self) -> float:
        """The longest that a look may have waited, by what they waited lately, pauses left out, s."""
        if not self._waits_s:
            return inf
        most_s = _PAUSE_SPACINGS * median(self._waits_s)
        return _WAIT_MARGIN * max(wait_s for wait_s in self._waits_s if wait_s <= most_s)

    def _first_phase(self) -> Phase:
        """Begin with what the looks that came alone have told, where they came evenly."""
        if len(self._alone_s) < _LEAST_LOOKS or self._uneven > _MOST_UNEVEN:
            return Phase([])
        spacings_s = [later - earlier for earlier, later in pairwise(self._alone_s)]
        middle_s = median(spacings_s)
        uneven = sum(abs(spacing_s - middle_s) > _UNEVEN_SHARE * middle_s for spacing_s in spacings_s)
        if not self._wire and uneven > _MOST_UNEVEN_SHARE * len(spacings_s):
            return Phase([])
        return Phase(
            [self._alone_s[-1]], Bounds(middle_s * (1 - _PERIOD_ERROR_SHARE), middle_s * (1 + _PERIOD_ERROR_SHARE))
        )


def _looks(readings: list[Reading]) -> list[int]:
    """To which look each reading belongs, from 0: a look ends where a column comes again."""
    look, before, found = 0, -1, []
    for reading in readings:
        look += reading.column <= before
        before = reading.column
        found.append(look)
    return found
