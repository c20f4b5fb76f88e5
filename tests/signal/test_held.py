"""A display that is polled faster than it changes is told by its runs; a calm one is not taken for it."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.signal.held import readings_a_look
from meterlog.signal.interval import Interval


@pytest.mark.parametrize("times", [2.0, 3.3, 10.0])
def test_how_often_a_polled_display_is_read_is_told(times: float) -> None:
    rng = np.random.default_rng(1)
    looks = np.round(12.6 + rng.normal(0.0, 0.02, 400), 2)
    polled = looks[(np.arange(int(400 * times)) / times).astype(int)]
    assert readings_a_look(polled) == pytest.approx(times, rel=0.1)


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.003, 0.004, 0.006, 0.02])
def test_a_calm_supply_is_not_taken_for_a_polled_display(noise: float) -> None:
    for seed in range(10):
        rng = np.random.default_rng(seed)
        slow = 0.02 * np.sin(np.arange(3000) / 150.0)
        assert readings_a_look(np.round(12.6 + slow + rng.normal(0.0, noise, 3000), 2)) == 1.0


def test_repeated_readings_do_not_make_shorter_events_visible() -> None:
    assert Interval(0.1, 0.0, readings_a_look=3.0).shortest_visible_s == pytest.approx(0.6)
