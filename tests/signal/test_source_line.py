"""The resistance of a source from two meters with noise, offsets, averaging, and a lag between them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.signal.source_line import Readings, source_line

Array = NDArray[np.float64]
GAINS = (0.005, 0.02)
"""The largest errors of the meters' gains: of a usual voltmeter and a usual clamp."""


def read(rng: np.random.Generator, t: Array, true: Array, interval_s: float, step: float, gain: float) -> Readings:
    """Read a quantity as a meter does: averaged over some window, late, with an offset, noise and rounding."""
    times = np.arange(0.7 + rng.uniform(0.0, interval_s), t[-1], interval_s)
    area = np.concatenate([[0.0], np.cumsum((true[1:] + true[:-1]) / 2.0 * np.diff(t))])
    window_s = max(float(rng.choice([0.0, 0.3, 1.0])) * interval_s, 0.002)
    shown = (np.interp(times, t, area) - np.interp(times - window_s, t, area)) / window_s
    shown = (
        shown * (1.0 + rng.uniform(-gain, gain)) + rng.uniform(-10, 10) * step + rng.normal(0.0, step / 2, len(times))
    )
    late = rng.uniform(0.0, 0.3) + rng.normal(0.0, 0.02 * interval_s, len(times))
    return Readings(np.sort(times + late), np.round(shown / step) * step, step)


def switched(rng: np.random.Generator, t: Array) -> Array:
    """Draw loads that are switched on and off every 5 to 30 s."""
    amperes, on, at = np.full(len(t), rng.uniform(0.5, 3.0)), False, 0
    while at < len(t):
        length = int(rng.uniform(5.0, 30.0) * 50)
        amperes[at : at + length] += rng.uniform(2.0, 12.0) * on
        on, at = not on, at + length
    return amperes


def cranked(rng: np.random.Generator, t: Array) -> Array:
    """Draw one crank: a rush, then a ripple with the pistons."""
    amperes, since = np.full(len(t), rng.uniform(1.0, 5.0)), t - 10.0
    during = (since > 0.0) & (since < rng.uniform(0.8, 3.0))
    pistons = 1.0 + 0.15 * np.sin(2 * np.pi * rng.uniform(4.0, 7.0) * since)
    starter = rng.uniform(120.0, 200.0) * pistons + 350.0 * np.exp(-since / 0.06)
    return np.where(during, amperes + starter, amperes)


@pytest.mark.parametrize(
    ("load", "ohms", "intervals_s", "length_s", "largest"),
    [(switched, (0.03, 0.5), (0.1, 0.25, 0.5), 120.0, 0.15), (cranked, (0.004, 0.03), (0.05, 0.1, 0.2), 25.0, 0.3)],
)
def test_the_stated_error_covers_the_truth(
    load: Callable[[np.random.Generator, Array], Array],
    ohms: tuple[float, float],
    intervals_s: tuple[float, ...],
    length_s: float,
    largest: float,
) -> None:
    covered, errors = [], []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        t = np.arange(0.0, length_s, 0.02)
        truth = float(rng.uniform(*ohms))
        amperes = load(rng, t)
        rest = 12.6 + np.cumsum(rng.normal(0.0, 0.0004, len(t))) + rng.uniform(-0.05, 0.05) * t / length_s
        volts = read(rng, t, rest - truth * amperes, float(rng.choice(intervals_s)), 0.01, GAINS[0])
        clamp = read(rng, t, amperes, float(rng.choice(intervals_s)), 0.01 if load is switched else 0.1, GAINS[1])
        line = source_line(volts, clamp, 3.0)
        if line is not None:
            error = line.error + sum(GAINS) * line.ohms
            covered.append(abs(line.ohms - truth) <= error)
            errors.append(error / truth)
    assert len(covered) >= 32
    assert np.mean(covered) >= 0.95
    assert np.median(errors) <= largest


def test_a_lag_between_the_meters_is_taken_out() -> None:
    t = np.arange(0.0, 120.0, 0.25)
    amperes = 5.0 + 2.0 * np.sin(t / 3.0)
    clamp = Readings(t + 0.3, amperes, 0.01)
    line = source_line(Readings(t, 12.6 - 0.118 * amperes, 0.001), clamp, 3.0)
    assert line is not None
    assert line.lag_s == pytest.approx(0.3, abs=0.04)
    assert line.ohms == pytest.approx(0.118, rel=0.02)


@pytest.mark.parametrize("amperes", [np.full(480, 5.0), 5.0 + np.random.default_rng(1).normal(0.0, 0.05, 480)])
def test_a_current_that_hardly_changes_tells_nothing(amperes: Array) -> None:
    t = 0.25 * np.arange(480.0)
    volts = 12.0 + np.random.default_rng(2).normal(0.0, 0.02, 480)
    assert source_line(Readings(t, volts, 0.01), Readings(t, amperes, 0.01), 3.0) is None


def test_meters_that_never_ran_together_tell_nothing() -> None:
    t = 0.25 * np.arange(480.0)
    wave = 5.0 + np.sin(t)
    assert source_line(Readings(t, 12.0 - 0.1 * wave, 0.01), Readings(t + 500.0, wave, 0.01), 3.0) is None
