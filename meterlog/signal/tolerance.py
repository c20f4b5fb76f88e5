"""Says what most of a population shows, from a sample of it: tolerance intervals, and values that do not belong."""

from __future__ import annotations

import math
from statistics import NormalDist
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

SHARE = 0.95
"""Of the population that is to lie within."""
CONFIDENCE = 0.95
"""With which it does."""
LEAST = 10
"""Fewer values than this give no interval: the factor grows beyond 3.4 deviations, and nothing shows the shape of
their distribution. A guess."""

_NORMAL_MOST = 0.752
"""The statistic of Anderson and Darling above which a sample is not normal, at 5 %, mean and deviation estimated
(Stephens, JASA 69, 1974, case 3)."""
_OUTLYING = 0.01
"""The chance that a value of a normal sample is called outlying at all (Grubbs, Technometrics 11, 1969): a choice."""

_Z = NormalDist()


Method = Literal["normal", "lognormal", "normal or lognormal", "ranks"]
"""Says how an interval is found. The spelling is part of `normal --json`."""


class Tolerance(NamedTuple):
    """An interval in which a share of the population lies.

    Attributes:
        low: its lower end.
        high: its upper end.
        confidence: the probability, over samples, that `SHARE` or more of the population lies within.
        method: `normal`, `lognormal`, `normal or lognormal` (then the wider of both, at each end), or `ranks` where no
            distribution is supposed.
    """

    low: float
    high: float
    confidence: float
    method: Method


def tolerance_interval(values: NDArray[np.float64]) -> Tolerance | None:
    """Return where 95 % of the population lies with 95 % confidence.

    By ranks from 93 values on. With fewer by the normal distribution, or that of the logarithms, where the sample could
    be so spread: drops and times are often skewed, and a small sample does not show it, so the wider of both is taken
    where it could be either. Where it could be neither, between the least and the greatest value, whose confidence is
    less and is stated.

    Args:
        values: the sample, shape (n,), finite, independent.

    Returns:
        The interval; None with fewer than `LEAST` values.
    """
    n = len(values)
    if n < LEAST:
        return None
    if rank_confidence(n) >= CONFIDENCE:
        return _by_ranks(np.sort(values))
    found: dict[Method, tuple[float, float]] = {}
    if could_be_normal(values):
        found["normal"] = _by_normal(values)
    logs = _logs(values)
    if logs is not None and could_be_normal(logs):
        found["lognormal"] = _back(_by_normal(logs), values)
    if not found:
        return _by_ranks(np.sort(values))
    method: Method = "normal or lognormal" if len(found) > 1 else next(iter(found))
    lows, highs = zip(*found.values(), strict=True)
    return Tolerance(min(lows), max(highs), CONFIDENCE, method)


def _by_normal(values: NDArray[np.float64]) -> tuple[float, float]:
    middle, reach = float(values.mean()), normal_factor(len(values)) * float(values.std(ddof=1))
    return middle - reach, middle + reach


def _logs(values: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """The logarithms of values of one sign, without it; None of others."""
    one_sign = bool((values > 0).all() or (values < 0).all())
    return np.asarray(np.log(np.abs(values)), np.float64) if one_sign else None


def _back(ends: tuple[float, float], values: NDArray[np.float64]) -> tuple[float, float]:
    low, high = (math.exp(end) for end in ends)
    return (low, high) if values[0] > 0 else (-high, -low)


def normal_factor(n: int) -> float:
    """Return how many sample deviations from the sample mean the interval reaches, for n >= 2 normal values.

    Howe's approximation, z sqrt(nu (1 + 1/n) / chi2), chi2 the (1 - confidence) quantile with nu = n - 1 (Howe, JASA
    64, 1969; NIST/SEMATECH e-Handbook 7.2.6.3); against the exact factors of ISO 16269-6 it is low by under 1 % from
    n = 10 on.
    """
    nu = n - 1
    return _Z.inv_cdf((1 + SHARE) / 2) * math.sqrt(nu * (1 + 1 / n) / chi_square_quantile(1 - CONFIDENCE, nu))


def rank_confidence(n: int, ends: int = 2) -> float:
    """Return the confidence that `SHARE` lies between two of n ordered values.

    The share between them is Beta(n + 1 - ends, ends) for every continuous distribution (Wilks, Annals of Mathematical
    Statistics 12, 1941), so this is the probability of `ends` or more of n falling outside by chance.

    Args:
        n: how many values.
        ends: the rank of the lower end from below and of the upper one from above, added: 2 is the least and greatest.
    """
    outside = [math.comb(n, k) * (1 - SHARE) ** k * SHARE ** (n - k) for k in range(ends)]
    return 1 - math.fsum(outside)


def ends_by_ranks(n: int, least: int) -> int:
    """Return the highest `ends` of `rank_confidence` that keeps the confidence, `least` where none does."""
    ends = least
    while rank_confidence(n, ends + 1) >= CONFIDENCE:
        ends += 1
    return ends


def _by_ranks(ordered: NDArray[np.float64]) -> Tolerance:
    n = len(ordered)
    ends = ends_by_ranks(n, 2)
    # Of an odd sum the upper rank has the more, always: to choose by the values would cost confidence.
    low, high = ends // 2, ends - ends // 2
    return Tolerance(float(ordered[low - 1]), float(ordered[-high]), rank_confidence(n, ends), "ranks")


def could_be_normal(values: NDArray[np.float64]) -> bool:
    """Tell whether a sample may come from a normal distribution, by the test of Anderson and Darling at 5 %."""
    n, deviation = len(values), float(values.std(ddof=1))
    if deviation == 0.0:
        return False
    below = np.array([_Z.cdf(z) for z in (np.sort(values) - values.mean()) / deviation])
    below = np.clip(below, 1e-300, 1 - 1e-16)  # a value so far out has no logarithm else
    weight = 2 * np.arange(1, n + 1) - 1
    statistic = -n - float((weight * (np.log(below) + np.log1p(-below[::-1]))).mean())
    return statistic * (1 + 0.75 / n + 2.25 / n**2) <= _NORMAL_MOST


def odd(values: NDArray[np.float64], errors: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which values are to be left out: they do not belong, and lie off by more than their error; of few none.

    Of readings that are all but equal one is soon far out for statistics, and still within its meter's error.
    """
    if len(values) < LEAST:
        return np.zeros(len(values), np.bool_)
    return np.asarray(outlying(values) & (np.abs(values - np.median(values)) > errors), np.bool_)


def outlying(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which values do not belong to the others, by themselves and by their logarithms: else a skewed sample
    would lose its long end."""
    out, logs = _far_out(values), _logs(values)
    return out if logs is None else out & _far_out(logs)


def _far_out(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Leave out the farthest value until none is too far: Grubbs' test at 1 %, at most a fifth of them."""
    out = np.zeros(len(values), np.bool_)
    for _ in range(len(values) // 5):
        left = np.flatnonzero(~out)
        n, few = len(left), values[left]
        deviation = float(few.std(ddof=1))
        far = np.abs(few - few.mean())
        t = student_quantile(1 - _OUTLYING / (2 * n), n - 2)
        if deviation == 0.0 or far.max() / deviation <= (n - 1) / math.sqrt(n) * math.sqrt(t**2 / (n - 2 + t**2)):
            break
        out[left[int(np.argmax(far))]] = True
    return out


def student_quantile(share: float, nu: int) -> float:
    """Return a quantile of Student's t, nu >= 6 (Abramowitz and Stegun 26.7.5; within 2 % up to 1 - 0.0005)."""
    x = _Z.inv_cdf(share)
    return (
        x
        + (x**3 + x) / (4 * nu)
        + (5 * x**5 + 16 * x**3 + 3 * x) / (96 * nu**2)
        + (3 * x**7 + 19 * x**5 + 17 * x**3 - 15 * x) / (384 * nu**3)
        + (79 * x**9 + 776 * x**7 + 1482 * x**5 - 1920 * x**3 - 945 * x) / (92160 * nu**4)
    )


def chi_square_quantile(share: float, nu: int) -> float:
    """Return the value below which a chi-square variable of nu degrees of freedom lies with a probability."""
    low, high = 0.0, nu + 20.0 * math.sqrt(2.0 * nu) + 20.0
    while high - low > 1e-10 * high:
        middle = (low + high) / 2
        low, high = (middle, high) if _chi_square_below(middle, nu) < share else (low, middle)
    return (low + high) / 2


def _chi_square_below(value: float, nu: int) -> float:
    """The regularized lower incomplete gamma function, by its series (Abramowitz and Stegun 6.5.29)."""
    a, x = nu / 2, value / 2
    if x == 0.0:
        return 0.0
    term = total = 1.0
    k = a
    while term > 1e-16 * total:
        k += 1
        term *= x / k
        total += term
    return total * math.exp(a * math.log(x) - x - math.lgamma(a + 1))
