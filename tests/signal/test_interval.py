"""The interval of a meter and the shortest event that shows."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.signal.interval import reading_interval


def test_the_interval_is_the_median_and_ignores_breaks() -> None:
    time_s = np.arange(0.0, 60.0, 0.25)
    time_s = time_s[(time_s < 20) | (time_s > 35)]
    interval = reading_interval(time_s)
    assert interval.interval_s == pytest.approx(0.25)
    assert interval.jitter_s == pytest.approx(0.0, abs=1e-9)
    assert interval.shortest_visible_s == pytest.approx(0.5)


def test_jitter_makes_the_shortest_visible_event_longer() -> None:
    rng = np.random.default_rng(3)
    time_s = np.arange(0.0, 60.0, 0.25) + rng.normal(0.0, 0.01, 240)
    interval = reading_interval(time_s)
    assert interval.jitter_s == pytest.approx(0.01 * 2**0.5, rel=0.3)
    assert interval.shortest_visible_s == pytest.approx(2 * (interval.interval_s + interval.jitter_s))


def test_one_reading_has_no_interval() -> None:
    assert np.isnan(reading_interval(np.array([1.0])).interval_s)


def test_a_long_series_is_judged_by_stretches_of_it() -> None:
    time_s = np.asarray(np.arange(300_000) * 0.1, dtype=np.float64)
    assert reading_interval(time_s).interval_s == pytest.approx(0.1)
