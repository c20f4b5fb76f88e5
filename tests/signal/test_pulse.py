"""State levels and pulse measures in the terms of IEEE Std 181, on signals whose measures are known by arithmetic."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.signal.levels import high_level, low_level, median
from meterlog.signal.pulse import pulse_shape


def test_levels_are_the_modes_of_the_halves_not_their_extremes() -> None:
    rng = np.random.default_rng(5)
    value = np.concatenate([rng.normal(0.1, 0.02, 200), rng.normal(12.4, 0.02, 80), [15.0, 8.0]])
    assert low_level(value) == pytest.approx(0.1, abs=0.02)
    assert high_level(value) == pytest.approx(12.4, abs=0.03)


def test_a_crowded_level_below_the_middle_is_not_the_high_one() -> None:
    value = np.concatenate([np.full(100, 0.1), np.full(300, 5.0), np.full(80, 12.4)])
    assert high_level(value) == pytest.approx(12.4)
    assert low_level(12.5 - value) == pytest.approx(0.1)


def test_few_readings_are_judged_by_their_median() -> None:
    assert high_level(np.array([11.0, 12.4, 12.5, 12.4])) == pytest.approx(12.4)


@pytest.mark.parametrize("n", [1, 2, 5, 64])
def test_the_quick_median_is_the_median(n: int) -> None:
    value = np.random.default_rng(n).normal(size=n)
    assert median(value) == pytest.approx(float(np.median(value)))


def test_shares_are_of_the_amplitude_whatever_the_idle_level() -> None:
    """12 V with a peak of 13.2 V and a fall to 11.4 V; the first and the last quarter of the top are compared."""
    value = np.array([0.0, 13.2, *[12.0] * 18, *[11.7] * 2, *[11.4] * 6, 0.0])
    for idle in (0.0, 4.0):
        pulse = pulse_shape(value + idle)
        assert pulse is not None
        assert pulse.overshoot == pytest.approx(1.2 / 12.0)
        assert pulse.droop == pytest.approx(0.6 / 12.0)


def test_a_level_pulse_neither_overshoots_nor_droops_though_its_outer_readings_are_partial() -> None:
    for n in (3, 4, 10):
        assert pulse_shape(np.array([0.1, 7.0, *[12.0] * n, 8.0, 0.1])) == (0.0, 0.0)


def test_a_pulse_of_a_few_readings_droops_from_the_first_to_the_last() -> None:
    pulse = pulse_shape(np.array([0.0, 12.0, 11.4, 10.8, 0.0]))
    assert pulse is not None
    assert pulse.droop == pytest.approx(1.2 / 11.4)
    assert pulse.overshoot == pytest.approx(0.6 / 11.4)


@pytest.mark.parametrize("level", [[6.25], [6.24, 6.25, 6.26]])
def test_a_level_half_way_up_to_a_spike_has_no_shape(level: list[float]) -> None:
    """It counts with the low half and with the high one: the amplitude between them is none, or the noise."""
    assert pulse_shape(np.array([0.5, *level * 8, 12.0, *level * 8, 0.5])) is None


@pytest.mark.parametrize("value", [[1.0, 1.0, 1.0], [0.0, 12.0], [12.0, 12.0, 0.0], [0.0, 12.0, 12.0]])
def test_what_is_no_whole_pulse_has_no_measures(value: list[float]) -> None:
    assert pulse_shape(np.array(value)) is None


@pytest.mark.parametrize("seed", range(6))
def test_a_level_among_many_readings_is_told_better_than_they_stray(seed: int) -> None:
    """Two thirds at 12 V, one third at 14.4 V, all straying by 0.05 V, idle before and after, and a spike."""
    rng = np.random.default_rng(seed)
    parts = [rng.normal(0.1, 0.05, 9000), rng.normal(12.0, 0.05, 6000), rng.normal(14.4, 0.05, 3000), np.array([20.0])]
    assert high_level(np.concatenate(parts)) == pytest.approx(12.0, abs=0.01)
    assert low_level(12.0 - np.concatenate(parts)) == pytest.approx(0.0, abs=0.01)


def test_the_crowded_level_below_the_middle_is_the_low_one() -> None:
    assert low_level(np.array([*[0.1] * 10, *[5.0] * 30, *[12.4] * 8])) == pytest.approx(5.0)
