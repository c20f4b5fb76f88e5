"""The phase of a meter whose looks arrive together: the even beats that fit between all arrivals.

A meter shows one *look* every so often, so look k was shown at t(k) = t0 + k x P. Of looks that arrived together at A,
the last being look k, two things are known: t(k) <= A, since nothing is shown after it arrived; and t(k + 1) >= A,
since the next look was not there yet, or it had come too. Each bundle so gives a point above the line t(k) and one
below it; the lines that pass between all of them leave bounds of P and of each t(k). They narrow with every bundle,
because a meter's beats and a link's do not keep step.

Where no line passes with the looks as counted, but does with some more, those were lost on the way.
"""

from __future__ import annotations

from collections import deque
from math import inf, isfinite
from typing import NamedTuple

_REMEMBERED = 32
"""Bundles that are remembered: more would tie the line to a clock that drifts. A choice."""
_JITTER_SHARE = 0.06
"""Stray of a meter's clockwork, as a share of its period: a guess."""
_JITTER_S = 0.005
"""Stray of a link's delay, s: a guess."""
_DRIFT = 1e-4
"""Largest change of a period from one bundle to the next, as a share: a guess, above what resonators drift."""
_UNLIKELY = 0.25
"""Least share of what was thought possible that a look as counted leaves; with less, one was lost: a choice."""
_MOST_LOST = 4
"""More lost looks than that are a pause, after which the meter may have another phase: as for the analyzer's gap."""
_PAUSE_DRIFT = 0.02
"""Largest change of a period over a pause, as a share: a guess, above what warming up does to a resonator."""
_FOREVER_S = 1e9
"""Stands for no bound where a difference must be finite, s: 30 years."""


class Shown(NamedTuple):
    """The time at which a look was shown, and how far that may be wrong either way, s."""

    time_s: float
    error_s: float


class Bounds(NamedTuple):
    """Something lies between these, s."""

    least_s: float
    most_s: float

    def shown(self, latest_s: float, stray_s: float) -> Shown:
        """Half way, not after `latest_s`, with half the way as the error; single looks stray by `stray_s`."""
        middle_s = min((self.least_s + self.most_s) / 2, latest_s)
        return Shown(middle_s, max(self.most_s - middle_s, middle_s - self.least_s, 0.0) + stray_s)


class _Fit(NamedTuple):
    looks: int
    period: Bounds
    last: Bounds


class Phase:
    """The lines that fit a meter's arrivals so far.

    A look that is lost unnoticed puts the line one look off, so for some bundles after any loss that is stated too.
    """

    def __init__(self, alone_s: list[float], period: Bounds | None = None) -> None:
        """Begin.

        Args:
            alone_s: when the looks before came, where they came one at a time and evenly.
            period: what those told of the period.
        """
        self.period = period or Bounds(0.0, inf)
        self._looks = len(alone_s)
        self._above: deque[tuple[int, float]] = deque(enumerate(alone_s, 1), maxlen=_REMEMBERED)
        self._below: deque[tuple[int, float]] = deque(enumerate(alone_s, 1), maxlen=_REMEMBERED)
        self._width_s = inf
        self._unsure = 0

    def bundle(self, arrivals_s: list[float], before_s: float, waited_s: float) -> list[Shown]:
        """Work out when each look of a bundle was shown.

        Args:
            arrivals_s: when each had arrived at the latest, in order.
            before_s: when the bundle before arrived.
            waited_s: no look of it waited longer than this, s; inf where that is not known.
        """
        count, arrival_s = len(arrivals_s), arrivals_s[-1]
        if not self._above:
            self._below.append((1, before_s))
        lost, fit = self._fitting(count, arrival_s)
        if fit is None:
            return self._anew(arrivals_s, before_s, waited_s)
        self._unsure = _REMEMBERED if lost else max(self._unsure - 1, 0)
        first, period = self._looks + 1, fit.period
        stray_s = max(self._slack_s, period.least_s if self._unsure else 0.0)
        self.period = Bounds(period.least_s * (1 - _DRIFT), period.most_s * (1 + _DRIFT))
        self._width_s = fit.last.most_s - fit.last.least_s
        self._looks = fit.looks
        self._remember(arrival_s)
        if not isfinite(period.most_s):
            return _evenly(arrivals_s, before_s)
        oldest, last = self._bounds(first, period), fit.last
        shown = []
        for k, at_s in enumerate(arrivals_s):
            part = k / max(count + lost - 1, 1)
            late = (k + lost) / max(count + lost - 1, 1) if lost else part
            least_s = oldest.least_s + part * (last.least_s - oldest.least_s)
            most_s = oldest.most_s + late * (last.most_s - oldest.most_s)
            shown.append(Bounds(least_s, most_s).shown(at_s, stray_s))
        return shown

    @property
    def _slack_s(self) -> float:
        return _JITTER_SHARE * (self.period.most_s if isfinite(self.period.most_s) else 0.0) + _JITTER_S

    def _remember(self, arrival_s: float) -> None:
        self._above.append((self._looks, arrival_s))
        self._below.append((self._looks + 1, arrival_s))

    def _fitting(self, count: int, arrival_s: float) -> tuple[int, _Fit | None]:
        """Find how many looks were lost, and the lines that fit then; None where none do."""
        plain = self._fit(self._looks + count, arrival_s)
        if plain is not None and plain.last.most_s - plain.last.least_s >= _UNLIKELY * min(self._width_s, _FOREVER_S):
            return 0, plain
        for lost in range(1, _MOST_LOST + 1):
            fit = self._fit(self._looks + count + lost, arrival_s)
            if fit is not None and (
                plain is None or fit.last.most_s - fit.last.least_s > plain.last.most_s - plain.last.least_s
            ):
                return lost, fit
            if plain is not None:
                break
        return 0, plain

    def _fit(self, look: int, arrival_s: float) -> _Fit | None:
        """The lines between all points, were the look that arrived now of that number."""
        slack_s = self._slack_s
        least_s, most_s = self.period
        for k, at_s in self._above:
            least_s = max(least_s, (arrival_s - at_s - slack_s) / (look + 1 - k))
        for k, at_s in self._below:
            if look > k:
                most_s = min(most_s, (arrival_s - at_s + slack_s) / (look - k))
        if least_s > most_s:
            return None
        period = Bounds(least_s, most_s)
        if not isfinite(most_s):
            return _Fit(look, period, Bounds(arrival_s - _FOREVER_S, arrival_s))
        low, high = self._bounds(look, period)
        low, high = max(low, arrival_s - most_s - slack_s), min(high, arrival_s)
        return _Fit(look, period, Bounds(low, high)) if low <= high + slack_s else None

    def _bounds(self, look: int, period: Bounds) -> Bounds:
        """Between what times the lines of these periods put a look."""
        slack_s = self._slack_s
        least, most = inf, -inf
        for period_s in (period.least_s, (period.least_s + period.most_s) / 2, period.most_s):
            low = max((at_s + period_s * (look - k) for k, at_s in self._below), default=-inf) - slack_s
            high = min((at_s + period_s * (look - k) for k, at_s in self._above), default=inf)
            least, most = min(least, low), max(most, high)
        return Bounds(least, most)

    def _anew(self, arrivals_s: list[float], before_s: float, waited_s: float) -> list[Shown]:
        """The meter paused, or the link did: what the cadence and the arrival allow, and begin again from here.

        What had waited for longer than usual overflowed something on its way, and that keeps what came first.
        """
        count, arrival_s = len(arrivals_s), arrivals_s[-1]
        slack_s = self._slack_s
        short, long = self.period
        oldest = self._bounds(self._looks + 1, self.period)
        first_s = max(min(oldest.least_s, before_s + long), before_s - slack_s)
        shown = []
        for k, at_s in enumerate(arrivals_s):
            most_s = min(at_s, arrival_s - (count - 1 - k) * short)
            least_s = max(first_s + k * short, arrival_s - waited_s - slack_s)
            if waited_s == inf:
                in_order_s = min(max(first_s, before_s) + k * (short + long) / 2, most_s)
                shown.append(Shown(in_order_s, most_s - in_order_s + slack_s))
            else:
                shown.append(Bounds(min(least_s, most_s), most_s).shown(at_s, slack_s))
        self._above.clear()
        self._below.clear()
        self._looks, self._width_s, self._unsure = count, inf, _REMEMBERED
        self.period = Bounds(short * (1 - _PAUSE_DRIFT), long * (1 + _PAUSE_DRIFT))
        self._remember(arrival_s)
        return shown


def _evenly(arrivals_s: list[float], before_s: float) -> list[Shown]:
    """Nothing is known but that they were shown after `before_s`."""
    step_s = (arrivals_s[-1] - before_s) / len(arrivals_s)
    times_s = [min(before_s + k * step_s, at_s) for k, at_s in enumerate(arrivals_s, 1)]
    return [
        Shown(time_s, max(time_s - before_s, at_s - time_s)) for time_s, at_s in zip(times_s, arrivals_s, strict=True)
    ]
