"""A display that is polled faster than it changes is told by its runs; a calm one is not taken for it."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.signal.interval import Interval
from meterlog.signal.readings_a_look import readings_a_look


@pytest.mark.parametrize("times", [2.0, 3.3, 10.0])
def test_how_often_a_polled_display_is_read_is_told(times: float) -> None:
    rng = np.random.default_rng(1)
    looks = np.round(12.6 + rng.normal(0.0, 0.02, 400), 2)
    polled = looks[(np.arange(int(400 * times)) / times).astype(int)]
    assert readings_a_look(polled) == pytest.approx(times, rel=0.1)


@pytest.mark.parametrize("shift_s", [0.0, 0.02, 0.05])
def test_a_display_read_twice_a_look_is_told_where_its_jitter_shifts_looks(shift_s: float) -> None:
    rng = np.random.default_rng(2)
    shown_s = 0.1 * np.arange(400) + rng.normal(0.0, 0.003, 400) + shift_s
    looks = np.round(12.6 + rng.normal(0.0, 0.02, 400), 2)
    polled = looks[np.searchsorted(shown_s, 0.05 * np.arange(2, 790), "right") - 1]
    assert readings_a_look(polled) == pytest.approx(2.0, rel=0.15)


@pytest.mark.parametrize("repeated", [0.1, 0.3, 0.5, 0.7, 0.9])
def test_digits_that_repeat_by_chance_are_no_polled_display(repeated: float) -> None:
    for seed in range(20):
        rng = np.random.default_rng(seed)
        fresh = rng.random(2000) >= repeated
        steps = np.where(fresh, rng.choice([-0.01, 0.01], 2000), 0.0)
        assert readings_a_look(12.6 + np.cumsum(steps)) in (1.0, None)


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.003, 0.004, 0.006, 0.02])
def test_a_calm_supply_is_not_taken_for_a_polled_display(noise: float) -> None:
    for seed in range(10):
        rng = np.random.default_rng(seed)
        slow = 0.02 * np.sin(np.arange(3000) / 150.0)
        assert readings_a_look(np.round(12.6 + slow + rng.normal(0.0, noise, 3000), 2)) in (1.0, None)


def test_a_look_is_as_long_as_the_readings_that_repeat_it() -> None:
    assert Interval(0.1, 0.0, readings_a_look=3.0).look_s == pytest.approx(0.3)
