"""Tolerance intervals hold 95 % of the population in 95 of 100 samples, and say so where they do not."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np
import pytest

from meterlog.signal.tolerance import (
    CONFIDENCE,
    LEAST,
    SHARE,
    Tolerance,
    chi_square_quantile,
    could_be_normal,
    normal_factor,
    outlying,
    rank_confidence,
    student_quantile,
    tolerance_interval,
)

SAMPLES = 5000
"""The share of so many has a standard error of 0.3 %; ranks are whole numbers, so theirs is 96.3 to 96.5 %."""


@pytest.mark.parametrize(("n", "factor"), [(10, 3.393), (30, 2.555), (100, 2.234)])
def test_the_normal_factor_is_that_of_the_published_tables(n: int, factor: float) -> None:
    """The exact ones, two-sided, 95 % with 95 % confidence."""
    assert normal_factor(n) == pytest.approx(factor, rel=0.01)


@pytest.mark.parametrize(("nu", "value"), [(1, 0.003932), (9, 3.3251), (29, 17.708), (299, 259.95)])
def test_the_quantiles_are_those_of_the_tables(nu: int, value: float) -> None:
    assert chi_square_quantile(0.05, nu) == pytest.approx(value, rel=1e-3)


@pytest.mark.parametrize(("share", "nu", "value"), [(0.975, 10, 2.228), (0.995, 20, 2.845), (0.9995, 8, 5.041)])
def test_students_quantiles_are_those_of_the_tables(share: float, nu: int, value: float) -> None:
    assert student_quantile(share, nu) == pytest.approx(value, rel=0.02)


def test_ranks_serve_from_93_values_on() -> None:
    assert rank_confidence(92) < CONFIDENCE <= rank_confidence(93)


def _held(found: Tolerance) -> float:
    """The share of the standard normal population in an interval."""
    return NormalDist().cdf(found.high) - NormalDist().cdf(found.low)


@pytest.mark.parametrize("n", [10, 30, 100, 300])
def test_of_a_hundred_normal_samples_95_intervals_hold_95_percent(n: int) -> None:
    rng = np.random.default_rng(n)
    found = [tolerance_interval(rng.normal(size=n)) for _ in range(SAMPLES)]
    kept = [one for one in found if one is not None and one.confidence >= CONFIDENCE]
    assert len(kept) >= 0.93 * SAMPLES  # the test of normality refuses one in twenty
    assert np.mean([_held(one) >= SHARE for one in kept]) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize("n", [100, 300])
def test_by_ranks_it_holds_for_a_skewed_population_too(n: int) -> None:
    rng = np.random.default_rng(n)
    held = []
    for _ in range(SAMPLES):
        found = tolerance_interval(np.exp(rng.normal(size=n)))
        assert found is not None
        assert found.method == "ranks"
        held.append(_held(found._replace(low=float(np.log(found.low)), high=float(np.log(found.high)))) >= SHARE)
    assert np.mean(held) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize("n", [10, 30])
def test_a_small_skewed_sample_is_not_taken_for_a_normal_one(n: int) -> None:
    rng = np.random.default_rng(n)
    found = [tolerance_interval(np.exp(0.6 * rng.normal(size=n))) for _ in range(SAMPLES)]
    sure = [one for one in found if one is not None and one.confidence >= CONFIDENCE]
    assert len(sure) >= 0.93 * SAMPLES
    logs = [one._replace(low=np.log(max(one.low, 1e-300)) / 0.6, high=np.log(one.high) / 0.6) for one in sure]
    assert np.mean([_held(one) >= SHARE for one in logs]) >= 0.93


def test_a_small_sample_of_no_known_shape_gets_less_confidence() -> None:
    values = np.repeat([1.0, 2.0], 15) + np.random.default_rng(1).normal(size=30) / 50
    assert not could_be_normal(values)
    found = tolerance_interval(values)
    assert found == Tolerance(float(values.min()), float(values.max()), rank_confidence(30), "ranks")
    assert found.confidence == pytest.approx(0.4465, abs=1e-3)  # 1 - 30 x 0.95^29 + 29 x 0.95^30


def test_the_long_end_of_a_skewed_sample_belongs_to_it() -> None:
    rng = np.random.default_rng(4)
    assert np.mean([outlying(np.exp(0.6 * rng.normal(size=100))).any() for _ in range(SAMPLES)]) <= 0.02


def test_few_values_give_none() -> None:
    assert tolerance_interval(np.arange(LEAST - 1.0)) is None


def test_what_does_not_belong_is_told() -> None:
    values = np.random.default_rng(2).normal(12.0, 0.05, 40)
    values[[3, 17]] = 11.0, 10.9
    assert list(np.flatnonzero(outlying(values))) == [3, 17]


def test_of_a_hundred_sound_samples_one_has_an_outlier() -> None:
    rng = np.random.default_rng(3)
    assert np.mean([outlying(rng.normal(size=10)).any() for _ in range(SAMPLES)]) == pytest.approx(0.01, abs=0.01)
