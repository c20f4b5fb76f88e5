"""The meter in front of the van: averages, rounds, ranges, flags and loses what a real one does."""

from __future__ import annotations

import math

import numpy as np
import pytest

from meterlog.reading import Flag, Quantity
from meterlog_drivers.simulated.meter import LATENCY_S, MeterModel
from meterlog_drivers.simulated.van.vehicle import Signal

STEP_S = 0.5e-3
IDEAL = MeterModel(gain_share=0.0, noise_counts=0.0, jitter_s=0.0)


def rng() -> np.random.Generator:
    return np.random.default_rng(5)


def signal(*steps: tuple[float, float], quantity: Quantity = Quantity.DC_VOLTAGE, duration_s: float = 6.0) -> Signal:
    """A signal that takes each value from its moment on."""
    value = np.zeros(round(duration_s / STEP_S))
    for begin, level in steps:
        value[round(begin / STEP_S) :] = level
    return Signal(quantity, STEP_S, value, np.zeros(len(value), dtype=bool))


def test_it_displays_once_an_interval_and_laps_join_evenly() -> None:
    times = MeterModel().display_times(9.9, rng())
    assert len(times) == 30
    gaps = np.diff(np.concatenate([times, times[:1] + 30 * 0.33]))
    assert np.all(np.abs(gaps - 0.33) < 0.02)


def test_a_display_is_the_mean_over_its_window_rounded_to_counts() -> None:
    times = np.array([1.0, 2.0])
    shown = MeterModel(gain_share=0.0, noise_counts=0.0, window_s=0.3).observe(
        signal((0.0, 10.0), (2.0 - LATENCY_S - 0.1, 0.0)), times, rng()
    )
    assert shown.value.tolist() == [10.0, 6.67]
    assert np.allclose(shown.resolution, 0.01)


def test_ten_milliseconds_out_of_three_hundred_pull_thirteen_volts_down_by_a_thirtieth() -> None:
    shown = MeterModel(gain_share=0.0, noise_counts=0.0, window_s=0.3).observe(
        signal((0.0, 13.0), (0.9, 0.0), (0.91, 13.0)), np.array([1.0]), rng()
    )
    assert shown.value[0] == pytest.approx(13.0 - 0.43, abs=0.01)


def test_values_are_the_decimal_numbers_on_the_display() -> None:
    shown = MeterModel().observe(signal((0.0, 12.345)), MeterModel().display_times(6.0, rng()), rng())
    assert all(value == float(f"{value:.2f}") for value in shown.value)
    assert len(set(shown.value.tolist())) > 1, "the last digit flickers"


def test_more_than_the_counts_is_overload_with_the_flag_and_its_sign() -> None:
    model = MeterModel(full_scale=4.0)
    shown = model.observe(signal((0.0, -12.0)), np.array([1.0]), rng())
    assert shown.value[0] == -math.inf
    assert Flag(int(shown.flags[0])) & Flag.OVERLOAD
    assert shown.resolution[0] == pytest.approx(0.001)


def test_a_longer_display_has_a_finer_resolution() -> None:
    model = MeterModel(counts=22000, gain_share=0.0, noise_counts=0.0)
    shown = model.observe(signal((0.0, 12.3456)), np.array([1.0]), rng())
    assert shown.value[0] == 12.346


def test_an_open_circuit_is_overload_and_its_edge_a_number_in_between() -> None:
    model = MeterModel(full_scale=400.0, gain_share=0.0, noise_counts=0.0, window_s=0.3)
    shown = model.observe(
        signal((0.0, 0.4), (2.0 - LATENCY_S - 0.15, math.inf), quantity=Quantity.RESISTANCE),
        np.array([1.0, 2.0, 3.0]),
        rng(),
    )
    assert shown.value[0] == 0.4
    assert 200.0 < shown.value[1] < 300.0
    assert shown.value[2] == math.inf


def test_autoranging_leaves_displays_out_and_changes_the_resolution() -> None:
    model = MeterModel(full_scale=None, gain_share=0.0, noise_counts=0.0)
    times = model.display_times(6.0, rng())
    shown = model.observe(signal((0.0, 0.05), (3.0, 12.0)), times, rng())
    assert len(shown) < len(times)
    assert shown.resolution[-1] == pytest.approx(0.01)
    assert shown.resolution[len(shown) // 4] == pytest.approx(0.0001)
    assert all(Flag(int(f)) & Flag.AUTORANGE for f in shown.flags)


def test_hold_repeats_the_display_and_says_so() -> None:
    model = MeterModel(held=((2.0, 4.0),), gain_share=0.0, noise_counts=0.0)
    times = model.display_times(6.0, rng())
    shown = model.observe(signal((0.0, 1.0), (3.0, 9.0)), times, rng())
    held = (shown.time_s >= 2.0) & (shown.time_s < 4.0)
    assert set(shown.value[held].tolist()) == {1.0}
    assert np.array_equal((shown.flags & Flag.HOLD) > 0, held)
    assert shown.value[shown.time_s > 4.5].tolist() == [9.0] * int((shown.time_s > 4.5).sum())


def test_a_link_that_is_down_loses_readings_and_nothing_else() -> None:
    times = IDEAL.display_times(6.0, rng())
    whole = IDEAL.observe(signal((0.0, 5.0)), times, rng())
    lossy = MeterModel(gain_share=0.0, noise_counts=0.0, jitter_s=0.0, link_down=((2.0, 4.0),))
    part = lossy.observe(signal((0.0, 5.0)), times, rng())
    kept = (times < 2.0) | (times >= 4.0)
    assert np.array_equal(part.time_s, whole.time_s[kept])


def test_a_probe_that_hangs_on_nothing_flickers_round_zero() -> None:
    value = np.zeros(round(30.0 / STEP_S))
    loose = Signal(Quantity.DC_VOLTAGE, STEP_S, value, np.ones(len(value), dtype=bool))
    shown = IDEAL.observe(loose, IDEAL.display_times(30.0, rng()), rng())
    assert 0.005 < shown.value.std() < 0.05


def test_the_gain_error_is_one_share_for_all_readings_of_a_meter() -> None:
    model = MeterModel(noise_counts=0.0, gain_share=0.01)
    shown = model.observe(signal((0.0, 10.0), (3.0, 20.0)), model.display_times(6.0, rng()), rng())
    assert shown.value[-1] / shown.value[0] == pytest.approx(2.0, abs=0.002)
    assert shown.value[0] != 10.0
