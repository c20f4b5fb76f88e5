"""Readings that share one time get times of their own, each with what it may be wrong."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import examine
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import IMPORT, Channel
from meterlog.signal.interval import reading_interval
from meterlog.signal.shared_times import spread

TABLE = Channel(1, "pump feed", Quantity.DC_VOLTAGE, driver=IMPORT)


def series_at(time_s: NDArray[np.float64], value: NDArray[np.float64]) -> Series:
    count = len(time_s)
    return Series(time_s, value, np.full(count, 0.01, np.float32), np.zeros(count, np.uint16))


def test_readings_of_their_own_times_stay_as_they_are() -> None:
    series = series_at(np.arange(0.0, 20.0, 0.4), np.full(50, 12.6))
    assert spread(series) is series


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("interval_s", [0.33, 0.41, 0.5])
def test_a_duration_between_stamps_of_whole_seconds_is_within_what_is_stated(seed: int, interval_s: float) -> None:
    """It was said: 'one every 0 s', and of a dropout of 14.37 s that it took 14.000 s +-0.000."""
    rng = np.random.default_rng(seed)
    true_s = np.arange(rng.uniform(0.0, 1.0), 90.0, interval_s)
    start_s, length_s = rng.uniform(20.0, 30.0), rng.uniform(3.0, 20.0)
    value = np.where((true_s > start_s) & (true_s <= start_s + length_s), 0.0, 12.6)
    series = spread(series_at(np.floor(true_s), value))
    assert (np.diff(series.time_s) >= 0.0).all()
    (event,), watch = examine(TABLE, series)
    assert event.kind == "dropout"
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    assert abs(event.duration_s - length_s) <= event.duration_error_s <= 3.0
    assert watch.interval.interval_s == pytest.approx(interval_s, rel=0.25)
    assert watch.interval.time_error_s > 0.0


@pytest.mark.parametrize("bundle", [2, 5, 8])
def test_bundles_are_no_gaps(bundle: int) -> None:
    """Each wait for a bundle of eight, 1.6 s, was said to be a gap of the link."""
    true_s = np.arange(0.0, 60.0, 0.2)
    together_s = true_s[np.minimum(np.arange(len(true_s)) // bundle * bundle + bundle - 1, len(true_s) - 1)]
    series = spread(series_at(together_s, np.full(len(true_s), 12.6)))
    events, watch = examine(TABLE, series)
    assert events == []
    assert reading_interval(series.time_s).interval_s == pytest.approx(0.2)
    assert watch.shortest_visible_s <= 1.7


def test_what_is_missing_before_a_bundle_stays_missing() -> None:
    time_s = np.repeat(np.array([1.0, 2.0, 3.0, 4.0, 5.0, 25.0, 26.0, 27.0]), 4)
    spaced_s = np.diff(spread(series_at(time_s, np.full(32, 12.6))).time_s)
    assert spaced_s.max() > 18.0
