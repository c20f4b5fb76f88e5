"""Finds the one change in a history that explains it best: a step or the beginning of a slow slope, by least squares.

Every day may be the one from which the measure steps, or from which it slopes; a slope from the first day is the plain
straight line. For one change that search is exact and takes milliseconds, so no library of change points is needed;
`ruptures`, which finds many changes of a mean, takes no temperatures out, knows no slopes and states no uncertainty
(Truong, Oudre, Vayatis 2020), and serves as a judge in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from meterlog.signal.tolerance import student_quantile
from meterlog.trends.history import Array, Days

LEAST_DAYS = 10
"""With fewer, a change has too few days on either side; a choice."""

_LEAST_BESIDE = 5
"""Days before and after a change: with three, a fault of the last days now and then passed for wear; a choice."""

_MOST_PLACES = 60
"""Days tried, evenly spread where there are more: a year is searched to the week."""

_FAR = 3.0
"""Deviations beyond so many standard deviations count as that many: a fault now and then is no trend (Huber 1964)."""

_ROUNDS = 3
"""Searches, each with what the one before found to lie far off."""

_PLACE_95 = 7.35
"""Likelihood ratio within which 95 % of true change points lie (Hansen 2000, table 1)."""

_TO_SIGMA = 1.4826
"""Median absolute deviation to standard deviation, of a normal distribution."""

_MOST_FOLLOWS = 0.9
"""Correlation of a day with the one before, at most: beyond, no history is long enough; a choice."""

Shape = Literal["step", "slope", "either"]


@dataclass(frozen=True, slots=True)
class Change:
    """The best change, whether or not it is more than chance.

    Attributes:
        shape: `either` where a step and a slope explain it alike.
        amount: what has changed by the last day, in the measure's unit.
        error: half-width of its 95 % band, the place's uncertainty included, without the meters' errors.
        chance: that such a change shows where there is none.
        after_s: it began after that, s since 1970; None: it may have begun before the first day.
        before_s: it had begun by then.
        slope_per_s: of a slope; None of a step.
        slope_error: half-width of its 95 % band.
        noise: standard deviation of a day from the model, in the measure's unit.
        excess: how much more the days' following each other lets the noise weigh; 1 where they do not.
        per_degree: what a degree of temperature adds, in the measure's unit; None where it is not corrected for.
        fitted: the model on each day, at 20 °C where the temperature is corrected for, (n,).
        at_20_c: the measure on each day, corrected alike, (n,).
    """

    shape: Shape
    amount: float
    error: float
    chance: float
    after_s: float | None
    before_s: float
    slope_per_s: float | None
    slope_error: float
    noise: float
    excess: float
    per_degree: float | None
    fitted: Array
    at_20_c: Array


def best_change(days: Days) -> Change | None:
    """Search the days of a history; None where there are fewer than `LEAST_DAYS` or nothing ever varies.

    Args:
        days: in order of time.
    """
    n = len(days.time_s)
    if n < LEAST_DAYS or np.ptp(days.value) == 0.0:
        return None
    base = _base(days)
    places = _places(n)
    candidates = _candidates(days.time_s, places)
    value = days.value
    for _ in range(_ROUNDS):
        fits = _Fits(base, candidates, value)
        far = _FAR * max(fits.noise_by_median, 1e-12)
        value = fits.model + np.clip(days.value - fits.model, -far, far)
    return _told(_Fits(base, candidates, value), days, places)


def places_tried(days: int) -> int:
    """Return how many changes are tried in so many days: each is a chance of a false alarm."""
    return 2 * len(_places(days))


class _Fits:
    """All candidates fitted beside the base, each alone."""

    def __init__(self, base: Array, candidates: Array, value: Array) -> None:
        """Fit them; base (n, k), candidates (n, m), value (n,)."""
        q = np.linalg.qr(base)[0]
        rest = value - q @ (q.T @ value)
        beside = candidates - q @ (q.T @ candidates)
        self.size = np.sqrt((beside**2).sum(0))
        self.amount = beside.T @ rest / self.size**2
        self.freedom = len(value) - base.shape[1] - 2  # the amount, and its place
        none = float(rest @ rest)
        self.left = np.maximum(none - (self.amount * self.size) ** 2, 1e-12 * none + 1e-300)
        self.best = int(np.argmin(self.left))
        self.noise = math.sqrt(self.left[self.best] / self.freedom)
        column = candidates[:, self.best]
        self.weights = np.linalg.lstsq(base, value - self.amount[self.best] * column, rcond=None)[0]
        self.model = base @ self.weights + self.amount[self.best] * column
        off = np.abs(value - self.model)
        self.noise_by_median = _TO_SIGMA * float(np.median(off)) if np.median(off) > 0 else self.noise
        self.excess = _excess(value - self.model)
        statistic = abs(self.amount[self.best]) * self.size[self.best] / (self.noise * math.sqrt(self.excess))
        self.chance = min(1.0, len(self.left) * student_beyond(statistic, self.freedom))


def _told(fits: _Fits, days: Days, places: list[int]) -> Change:
    n, count, best = len(days.time_s), len(places), fits.best
    ratio = (n / fits.excess) * np.log(fits.left / fits.left[best])
    likely = np.flatnonzero(ratio <= _PLACE_95)
    shapes = {"step" if k < count else "slope" for k in likely}
    shape: Shape = "either" if len(shapes) > 1 else "step" if best < count else "slope"
    first, last = min(k % count for k in likely), max(k % count for k in likely)
    t = student_quantile(0.975, fits.freedom)
    deviation = np.sqrt(fits.left / fits.freedom * fits.excess) / fits.size
    low, high = fits.amount - t * deviation, fits.amount + t * deviation
    amount = float(fits.amount[best])
    error = float(max(amount - low[likely].min(), high[likely].max() - amount))
    lasts = days.time_s[-1] - days.time_s[places[best % count]]
    slopes = best >= count and lasts > 0
    per_degree = float(fits.weights[1]) if len(fits.weights) > 1 else None
    warm = 0.0 if days.temperature_c is None or per_degree is None else per_degree * (days.temperature_c - 20.0)
    return Change(
        shape=shape,
        amount=amount,
        error=error,
        chance=fits.chance,
        after_s=None if first == 0 else float(days.time_s[places[first - 1]]),
        before_s=float(days.time_s[places[last + 1] if last + 1 < count else n - 1]),
        slope_per_s=float(amount / lasts) if slopes else None,
        slope_error=float(t * deviation[best] / lasts) if slopes else math.nan,
        noise=fits.noise,
        excess=fits.excess,
        per_degree=per_degree,
        fitted=fits.model - warm,
        at_20_c=days.value - warm,
    )


def _base(days: Days) -> Array:
    """Return what explains a history without any change: its level, and the temperature, (n, 1 or 2)."""
    level = np.ones(len(days.time_s))
    if days.temperature_c is None or np.ptp(days.temperature_c) == 0.0:
        return level[:, None]
    return np.column_stack([level, days.temperature_c - 20.0])


def _places(n: int) -> list[int]:
    """Indices of the first days after a change, so that enough days are before it and after it."""
    first, last = _LEAST_BESIDE, n - _LEAST_BESIDE
    return sorted({int(k) for k in np.linspace(first, last, min(last - first + 1, _MOST_PLACES))})


def _candidates(time_s: Array, places: list[int]) -> Array:
    """Steps, then slopes, (n, 2 x places): 0 before, and 1 on the last day; the first slope is the straight line."""
    steps = [np.arange(len(time_s)) >= k for k in places]
    begins = [time_s[0] if at == 0 else time_s[k] for at, k in enumerate(places)]
    slopes = [np.maximum(time_s - begin, 0.0) / (time_s[-1] - begin) for begin in begins]
    return np.column_stack([*steps, *slopes]).astype(float)


def _excess(off: Array) -> float:
    """By how much days that resemble the one before raise the variance of a mean, by their first lag (Bartlett 1946).

    What few days show of it is too little by (1 + 3 x it) / n (Kendall 1954).
    """
    total = float(off @ off)
    follows = float(off[1:] @ off[:-1]) / total if total else 0.0
    follows = min(max(follows + (1 + 3 * follows) / len(off), 0.0), _MOST_FOLLOWS)
    return (1 + follows) / (1 - follows)


def student_beyond(t: float, nu: int) -> float:
    """Return the chance that Student's t lies beyond +-t, nu degrees (Abramowitz and Stegun 26.7.3 and 26.7.4)."""
    theta = math.atan(t / math.sqrt(nu))
    c = math.cos(theta)
    term, total = (1.0, 1.0) if nu % 2 == 0 else (c, c)
    for k in range(2 if nu % 2 == 0 else 3, nu, 2):
        term *= c * c * (k - 1) / k
        total += term
    if nu % 2 == 0:
        inside = math.sin(theta) * total
    else:
        inside = 2 / math.pi * (theta + (math.sin(theta) * total if nu > 1 else 0.0))
    return max(0.0, 1.0 - inside)
