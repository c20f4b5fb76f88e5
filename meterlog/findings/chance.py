"""Exact probabilities that counts come by chance alone: events after markers, two rates, two sets of tries."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

_ESCAPES = 0.05
"""Share that may escape, 5 in 100: the usual confidence of 95 %."""


def chance_of_at_least(inside: int, total: int, share: float) -> float:
    """P(K >= inside) for K binomial with `total` events and probability `share`.

    Events of a Poisson process with one constant rate fall, once their total is given, into a part of the time
    independently with the probability that this part has of the whole; so the count inside is binomial whatever the
    rate (the conditional binomial test, exact).

    Args:
        inside: events within the windows after the markers.
        total: events in the whole time.
        share: the windows' share of the time in which an event could have been seen, 0 to 1.
    """
    if inside <= 0:
        return 1.0
    if share <= 0.0:
        return 0.0
    if share >= 1.0:
        return 1.0
    terms = [
        _log_binomial(total, k) + k * math.log(share) + (total - k) * math.log1p(-share)
        for k in range(inside, total + 1)
    ]
    most = max(terms)
    return min(1.0, math.exp(most) * math.fsum(math.exp(term - most) for term in terms))


def chance_of_at_least_among(inside: int, parts: Sequence[tuple[int, float]]) -> float:
    """P(K >= inside) where K is the sum of independent binomials: as `chance_of_at_least`, each part with its own rate.

    Args:
        inside: events within the windows after the markers, in all parts.
        parts: of each part of the time its events in all, and the windows' share of it.
    """
    ways = np.ones(1)  # ways[k]: the probability of k inside so far
    for total, share in parts:
        if total:
            ways = np.convolve(ways, _binomial(total, share))
    return min(1.0, float(ways[inside:].sum()))


def chance_of_split(first: int, of_first: int, second: int, of_second: int) -> float:
    """The probability that chance parts two counts of tries so far or farther, on either side (Fisher's exact test).

    Once the total is given, the count among the first tries is hypergeometric where both are alike; the smaller tail
    is taken twice.

    Args:
        first: how many of the first tries it was.
        of_first: the first tries.
        second: how many of the second tries it was.
        of_second: the second tries.
    """
    total, tries = first + second, of_first + of_second
    ways = [
        math.comb(of_first, k) * math.comb(of_second, total - k) if 0 <= total - k <= of_second else 0
        for k in range(of_first + 1)
    ]
    every = math.comb(tries, total)
    return min(1.0, 2 * min(sum(ways[: first + 1]), sum(ways[first:])) / every)


def quiet_needed(count: int, time: float, chance: float) -> float:
    """Return the time without an event that `count` events in a time leave to chance at most so seldom; its unit.

    All fall into the one time, and none into the other t, with the probability (time / (time + t))^count.
    """
    return float(time * (chance ** (-1 / count) - 1))


def unseen_share(tries: int) -> float:
    """The share of tries p at which a fault escapes them all 5 times in 100: (1 - p)^n = 0.05."""
    return float(1 - _ESCAPES ** (1 / tries))


def rate_span(count: int, hours: float, confidence: float = 1 - _ESCAPES) -> tuple[float, float]:
    """The exact (Garwood) interval for a Poisson rate, per hour, from a count seen in a time.

    Found by bisection on the Poisson distribution's own sums, so no table of chi-square is needed.
    """
    tail = (1 - confidence) / 2
    low = 0.0 if count == 0 else _root(lambda mean: 1 - _poisson_at_most(count - 1, mean), tail, count)
    high = _root(lambda mean: 1 - _poisson_at_most(count, mean), 1 - tail, count)
    return low / hours, high / hours


def _poisson_at_most(count: int, mean: float) -> float:
    if mean == 0.0:
        return 1.0
    return math.fsum(math.exp(k * math.log(mean) - mean - math.lgamma(k + 1)) for k in range(count + 1))


def _root(rising: Callable[[float], float], target: float, count: int) -> float:
    """Find where a rising function of the mean reaches the target, to a part in 10^12."""
    low, high = 0.0, 10.0 + 3.0 * count
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if rising(middle) < target else (low, middle)
    return (low + high) / 2


def _binomial(total: int, share: float) -> NDArray[np.float64]:
    """The probabilities of 0 to `total`, shape (total + 1,)."""
    if share in (0.0, 1.0):
        certain = np.zeros(total + 1)
        certain[int(share) * total] = 1.0
        return certain
    logs = [_log_binomial(total, k) + k * math.log(share) + (total - k) * math.log1p(-share) for k in range(total + 1)]
    chances: NDArray[np.float64] = np.exp(np.array(logs))
    return chances


def _log_binomial(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
