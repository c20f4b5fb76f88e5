"""Fewer points that look the same."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from meterlog.series import Series
from meterlog.signal.reduce import reduce_series


def series(value: NDArray[np.float64], time_s: NDArray[np.float64] | None = None) -> Series:
    """Readings ten times a second, or at the given times."""
    times = np.arange(len(value), dtype=np.float64) * 0.1 if time_s is None else time_s
    flags = np.where(np.isinf(value), 1, 0).astype(np.uint16)
    return Series(times, value, np.full(len(value), 0.01, np.float32), flags)


@settings(max_examples=30)
@given(st.integers(0, 199_999), st.sampled_from([200, 1000, 2000]))
def test_a_dropout_of_one_reading_is_kept_wherever_it_is(at: int, points: int) -> None:
    value = np.full(200_000, 12.5)
    value[at] = 0.0
    drawn = reduce_series(series(value), points)
    assert np.nanmin(drawn.value) == 0.0
    assert len(drawn.time_s) <= points


def test_a_line_breaks_at_a_gap_and_at_overload_at_every_zoom() -> None:
    time_s = np.concatenate([np.arange(0, 1000.0, 0.1), np.arange(1060.0, 2000.0, 0.1)])
    value = np.full(len(time_s), 1.2)
    value[3000:3005] = np.inf
    for points in (100, 2000, 100_000):
        drawn = reduce_series(series(value, time_s), points)
        assert np.allclose(drawn.gaps, [(999.9, 1060.0)])
        assert np.allclose(drawn.overload, [(300.0, 300.5)])
        breaks = drawn.time_s[np.isnan(drawn.value)]
        assert len(breaks) == 2
        assert 290 < breaks[0] < 310
        assert 999 < breaks[1] < 1061
        assert (np.diff(drawn.time_s) >= 0).all()


def test_few_readings_are_all_drawn() -> None:
    drawn = reduce_series(series(np.array([1.0, 2.0, np.nan, 4.0])))
    assert drawn.value[~np.isnan(drawn.value)].tolist() == [1.0, 2.0, 4.0]
    assert np.isnan(drawn.value).sum() == 1
    assert drawn.overload == []


def test_overload_to_the_end_and_nothing_at_all() -> None:
    drawn = reduce_series(series(np.array([1.0, np.inf, np.inf])))
    assert np.allclose(drawn.overload, [(0.1, 0.2)])
    empty = reduce_series(series(np.empty(0)))
    assert (len(empty.time_s), empty.gaps, empty.overload) == (0, [], [])


def test_thousands_of_overloads_are_joined() -> None:
    value = np.full(100_000, 1.0)
    value[::10] = np.inf
    drawn = reduce_series(series(value))
    assert 0 < len(drawn.overload) <= 501
    assert len(drawn.time_s) < 4100


@pytest.mark.parametrize(("interval_s", "longest_s"), [(0.1, 1.0), (0.5, 2.0)])
def test_a_line_breaks_after_four_intervals_and_a_second(interval_s: float, longest_s: float) -> None:
    before = np.arange(40) * interval_s
    for missing_s, breaks in ((longest_s - 0.05, 0), (longest_s + 0.05, 1)):
        after = before + before[-1] + missing_s
        drawn = reduce_series(series(np.full(80, 12.0), np.concatenate([before, after])))
        assert np.isnan(drawn.value).sum() == len(drawn.gaps) == breaks


def test_joined_overloads_cover_what_was_overload_and_nothing_far_from_it() -> None:
    """Overload every second for 1000 s, nothing for 8000 s, then one more."""
    value = np.full(100_000, 1.0)
    value[5:10_000:10] = np.inf
    value[90_000:90_003] = np.inf
    assert np.allclose(reduce_series(series(value)).overload, [(0.5, 999.6), (9000.0, 9000.3)])
