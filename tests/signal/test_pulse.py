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


def trapezoid(rise_s: float, fall_s: float, step_s: float = 0.01) -> tuple[np.ndarray, np.ndarray]:
    time_s = np.arange(0.0, 5.0, step_s)
    value = 12.0 * (np.clip((time_s - 1.0) / rise_s, 0, 1) - np.clip((time_s - 3.0) / fall_s, 0, 1))
    return time_s, value


def test_a_trapezoid_has_its_transitions_and_its_duration_at_the_mid_level() -> None:
    pulse = pulse_shape(*trapezoid(0.1, 0.2))
    assert pulse is not None
    assert pulse.duration_s == pytest.approx(3.1 - 1.05, abs=1e-6)
    assert (pulse.start_s, pulse.end_s) == pytest.approx((1.05, 3.1), abs=1e-6)
    assert pulse.rise_s == pytest.approx(0.08, abs=1e-6)
    assert pulse.fall_s == pytest.approx(0.16, abs=1e-6)
    assert pulse.overshoot == 0.0
    assert pulse.droop == pytest.approx(0.0, abs=1e-6)


def test_a_transition_between_two_readings_has_no_duration() -> None:
    time_s = np.arange(0.0, 5.0, 0.33)
    pulse = pulse_shape(time_s, np.where((time_s > 1) & (time_s < 3), 12.0, 0.0))
    assert pulse is not None
    assert pulse.rise_s is None
    assert pulse.fall_s is None


def test_shares_are_of_the_amplitude_where_the_idle_level_is_not_nothing() -> None:
    time_s, value = trapezoid(0.1, 0.2)
    low, raised = pulse_shape(time_s, value), pulse_shape(time_s, value + 4.0)
    assert low is not None
    assert raised is not None
    assert (raised.low, raised.high) == pytest.approx((4.0, 16.0))
    assert (raised.start_s, raised.end_s, raised.rise_s) == pytest.approx((low.start_s, low.end_s, low.rise_s))


def test_a_bent_rise_and_fall_are_timed_where_they_cross_the_levels() -> None:
    value = np.array([0.0, 0.0, 7.0, 9.0, 11.5, 12.0, 12.0, 12.0, 12.0, 8.0, 3.0, 0.6, 0.0, 0.0])
    pulse = pulse_shape(np.arange(14.0), value)
    assert pulse is not None
    assert (pulse.start_s, pulse.end_s) == pytest.approx((1 + 6 / 7, 9.4))
    assert pulse.rise_s == pytest.approx((3 + 1.8 / 2.5) - (1 + 1.2 / 7))
    assert pulse.fall_s == pytest.approx((10 + 1.8 / 2.4) - (8 + 1.2 / 4))


def test_overshoot_and_droop_are_shares_of_the_amplitude() -> None:
    time_s = np.arange(0.0, 5.0, 0.01)
    on = (time_s > 1) & (time_s < 3)
    value = np.where(on, 12.0 - 0.6 * (time_s - 1) / 2, 0.0)
    value[101] = 13.2
    pulse = pulse_shape(time_s, value)
    assert pulse is not None
    assert pulse.droop == pytest.approx(0.6 * 0.75 / 12, abs=0.01)
    assert pulse.overshoot == pytest.approx(1.4 / 12, abs=0.05)


@pytest.mark.parametrize("value", [[1.0, 1.0, 1.0], [0.0, 12.0], [12.0, 12.0, 0.0], [0.0, 12.0, 12.0]])
def test_what_is_no_whole_pulse_has_no_measures(value: list[float]) -> None:
    assert pulse_shape(np.arange(float(len(value))), np.array(value)) is None
