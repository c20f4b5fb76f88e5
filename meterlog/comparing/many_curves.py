"""The band of many known-good curves: wide enough for a whole curve of another sound one, and not for an odd one."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.signal.tolerance import LEAST, ends_by_ranks, outlying

_DEVIATION = 1.4826
"""Median absolute deviations in a standard deviation of the normal distribution."""

_STEEP = 10.0
"""Usual spreads that a curve goes within a reading to each side where it is at an edge; noise goes 6. A choice."""

Array = NDArray[np.float64]


class ManyCurves(NamedTuple):
    """A band for whole curves.

    Attributes:
        low: float64 (t,), its lower edge; NaN where nothing is known.
        high: float64 (t,), its upper edge.
        chance: the probability that another sound curve leaves it anywhere, at most.
        odd: which captures were left out as they do not belong to the others.
    """

    low: Array
    high: Array
    chance: float
    odd: tuple[int, ...]


def many_curves(low: Array, high: Array, error: Array) -> ManyCurves | None:
    """Return the band in which 95 % of sound curves lie from beginning to end, with 95 % confidence where n allows.

    Each curve has one number: by how many spreads it leaves the medians where it does so farthest. The band reaches as
    far as the greatest of these, or of many curves the one by rank as for a measure (Wilks 1941, one end). Of n + 1
    exchangeable curves each is as likely to be the farthest out, so another sound one leaves it in 1 of n + 1 or less;
    see Diquigiovanni, Fontana and Vantini, Journal of Multivariate Analysis 189 (2022), for bands of this form.

    Args:
        low: float64 (n, t), the least that each of n captures may be at each moment; NaN where it is not known.
        high: float64 (n, t), the most.
        error: float64 (t,), the half-width that the meters leave open: no spread is taken to be less.

    Returns:
        The band; None of fewer captures than `LEAST`, or where one is overloaded.
    """
    if len(low) < LEAST or np.isinf(low).any() or np.isinf(high).any():
        return None
    steep = _steep(low, high, error)
    farthest = _farthest(low, high, error, steep)
    odd = outlying(farthest) & (farthest > np.median(farthest))
    sound = np.flatnonzero(~odd)
    if len(sound) < LEAST:
        return None
    low, high = low[sound], high[sound]
    reaches = np.sort(_farthest(low, high, error, steep) if odd.any() else farthest)
    ends = ends_by_ranks(len(sound), 1)
    (bottom, below), (top, above) = (_middle(side, error) for side in (low, high))
    reach = float(reaches[-ends])
    return ManyCurves(
        np.where(steep, _widened(np.fmin.reduce(low), np.fmin), bottom - reach * below),
        np.where(steep, _widened(np.fmax.reduce(high), np.fmax), top + reach * above),
        ends / (len(sound) + 1),
        tuple(np.flatnonzero(odd).tolist()),
    )


def _steep(low: Array, high: Array, error: Array) -> NDArray[np.bool_]:
    """Tell where the curve goes so steeply that a reading's moment decides what it is: within one reading of an edge.

    There the band is the joint range, since the readings of an edge are chance and have no spread about a middle.
    """
    (bottom, below), (top, above) = (_middle(side, error) for side in (low, high))
    spread = np.fmax(below, above)
    usual = float(np.median(spread[np.isfinite(spread)])) if np.isfinite(spread).any() else 0.0
    return np.asarray(_widened(top, np.fmax) - _widened(bottom, np.fmin) > _STEEP * usual, np.bool_)


def _widened(values: Array, pick: np.ufunc) -> Array:
    """The least or greatest of each moment, the one before and the one after."""
    result = values.copy()
    result[1:] = pick(result[1:], values[:-1])
    result[:-1] = pick(result[:-1], values[1:])
    return result


def _farthest(low: Array, high: Array, error: Array, steep: NDArray[np.bool_]) -> Array:
    """By how many spreads each capture leaves the medians of the others, where it does so farthest; shape (n,).

    Of the others: a capture that is part of its own measure would look nearer than another sound one does.
    """
    found = np.zeros(len(low))
    for number in range(len(low)):
        others = np.arange(len(low)) != number
        (bottom, below), (top, above) = (_middle(side[others], error) for side in (low, high))
        beyond = np.fmax((bottom - low[number]) / below, (high[number] - top) / above)[~steep]
        found[number] = max(0.0, float(np.fmax.reduce(beyond, initial=0.0)))
    return found


def _middle(values: Array, error: Array) -> tuple[Array, Array]:
    """The median of the captures at each moment, and their spread about it, never less than the error."""
    ordered = np.sort(values, axis=0)  # NaN go last
    known = np.isfinite(ordered).sum(axis=0)
    middle = _median(ordered, known)
    spread = _DEVIATION * _median(np.sort(np.abs(ordered - middle), axis=0), known)
    return middle, np.fmax(np.fmax(spread, error), math.ulp(1.0))


def _median(ordered: Array, known: NDArray[np.int64]) -> Array:
    """The median of the first `known` values at each moment; NaN of none."""
    lower, upper = (
        np.take_along_axis(ordered, np.clip(at, 0, len(ordered) - 1)[None], axis=0)[0]
        for at in ((known - 1) // 2, known // 2)
    )
    return np.where(known > 0, (lower + upper) / 2, np.nan)
