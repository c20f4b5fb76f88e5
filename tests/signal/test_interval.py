"""The interval of a meter and its jitter."""

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


def test_jitter_is_the_stray_of_the_spacing() -> None:
    rng = np.random.default_rng(3)
    time_s = np.arange(20_000) * 0.25 + rng.normal(0.0, 0.01, 20_000)
    interval = reading_interval(time_s)
    assert interval.jitter_s == pytest.approx(0.01 * 2**0.5, rel=0.05)


def test_one_reading_has_no_interval() -> None:
    assert np.isnan(reading_interval(np.array([1.0])).interval_s)


def test_a_long_series_is_judged_by_stretches_of_it() -> None:
    time_s = np.asarray(np.arange(300_000) * 0.1, dtype=np.float64)
    assert reading_interval(time_s).interval_s == pytest.approx(0.1)


def test_two_readings_have_an_interval_and_no_jitter() -> None:
    assert reading_interval(np.array([1.0, 1.5]))[:2] == (0.5, 0.0)
    assert reading_interval(np.array([1.0])).jitter_s == 0.0


def test_of_a_long_series_no_part_is_left_out() -> None:
    """The interval is that of most readings, whether they came first or last."""
    spacing = np.where(np.arange(200_000) < 110_000, 0.1, 0.5)
    assert reading_interval(np.cumsum(spacing)).interval_s == pytest.approx(0.1)
    assert reading_interval(np.cumsum(spacing[::-1])).interval_s == pytest.approx(0.1)
