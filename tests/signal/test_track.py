"""A track answers alike for short and long series, kept whole or growing."""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from meterlog.signal.track import Track


def track_of(value: np.ndarray, part: int | None = None) -> Track:
    time_s = np.asarray(np.arange(len(value)) * 0.1, dtype=np.float64)
    resolution = np.full(len(value), 0.01, np.float32)
    track = Track()
    for start in range(0, len(value), part or len(value)):
        end = start + (part or len(value))
        track.extend(time_s[start:end], value[start:end], resolution[start:end], 0)
    return track


@pytest.mark.parametrize("part", [None, 7, 1000])
@pytest.mark.parametrize(("low", "high"), [(12.0, 14.0), (-inf, 13.5), (12.5, inf)])
def test_the_next_reading_outside_a_band(part: int | None, low: float, high: float) -> None:
    rng = np.random.default_rng(2)
    value = rng.uniform(12.6, 13.4, 3000)
    value[[5, 700, 701, 1900, 2999]] = [11.0, 15.0, 11.9, 0.0, 16.0]
    track = track_of(value, part)
    for start in (0, 6, 128, 700, 702, 1899, 1901):
        outside = np.flatnonzero((value[start:] < low) | (value[start:] >= high))
        expected = start + int(outside[0]) if len(outside) else 3000
        assert track.first_outside(start, 3000, low, high) == expected


@pytest.mark.parametrize("n", [1280, 1281, 3000])
def test_where_nothing_is_outside_the_end_is_told(n: int) -> None:
    track = track_of(np.full(n, 13.0))
    for start in (0, 1, 128, 1279):
        assert track.first_outside(start, n, 12.0, 14.0) == n


def test_old_readings_are_let_go_but_not_those_still_needed() -> None:
    track = Track()
    for k in range(400):
        times = np.asarray(k * 10.0 + np.arange(100) * 0.1, dtype=np.float64)
        track.extend(times, np.full(100, float(k)), np.full(100, 0.01, np.float32), max(0, 100 * k - 20_000))
    assert track.value(39_999) == 399.0
    assert track.value(20_500) == 205.0
    assert 20_000 < len(track.values(0, 40_000)) == len(track.times(0, 40_000)) < 40_000
    assert track.values(0, 40_000)[-1] == 399.0
    assert len(track.values(0, 10)) == len(track.times(0, 10)) == 0
    assert track.times(0, 40_000)[-1] == pytest.approx(3999.9)


def test_a_calm_stretch_ends_before_a_dip_and_before_the_ceiling() -> None:
    value = np.full(6000, 13.0)
    value[3000], value[5000] = 9.0, 14.2
    track = track_of(value)
    assert 2800 <= track.calm_until(64, 6000, 0.91, 14.0, 64) <= 3000
    assert 4800 <= track.calm_until(3300, 6000, 0.91, 14.0, 64) <= 5000
    assert track.calm_until(3300, 6000, 0.91, 15.0, 64) > 5800


def test_the_nominal_interval_depends_on_earlier_readings_alone() -> None:
    stray = np.random.default_rng(4).uniform(-0.02, 0.02, 5100)
    time_s = np.concatenate([np.arange(100) * 0.25, 25.0 + np.arange(5000) * 0.1]) + stray
    whole, growing = Track(), Track()
    plain = np.zeros(len(time_s))
    counts = np.zeros(len(time_s), np.float32)
    whole.extend(time_s, plain, counts, 0)
    for k in range(len(time_s)):
        growing.extend(time_s[k : k + 1], plain[k : k + 1], counts[k : k + 1], 0)
        if k in (5, 50, 99, 300, 2000, 5000):
            assert growing.nominal_s(k) == pytest.approx(whole.nominal_s(k))
    assert whole.nominal_s(50) == pytest.approx(0.25, abs=0.01)
    assert whole.nominal_s(5000) == pytest.approx(0.1, abs=0.01)


def test_short_series_and_the_end_of_long_ones_are_not_stepped_over() -> None:
    assert track_of(np.full(100, 13.0)).calm_until(64, 100, 0.91, 14.0, 64) == 64
    assert track_of(np.full(600, 13.0)).calm_until(590, 600, 0.91, 14.0, 64) == 590


def test_the_first_reading_after_a_time_is_found_also_when_old_ones_are_gone() -> None:
    track = Track()
    for k in range(400):
        times = np.asarray(k * 10.0 + np.arange(100) * 0.1, dtype=np.float64)
        track.extend(times, np.full(100, float(k)), np.full(100, 0.01, np.float32), max(0, 100 * k - 200))
    assert track.first_after(3985.05, 39_000, 40_000) == 39_851
    assert track.first_after(5000.0, 39_000, 40_000) == 40_000
    assert track.values(39_850, 39_852).tolist() == [398.0, 398.0]
    assert track.times(39_899, 39_901).tolist() == pytest.approx([3989.9, 3990.0])


@pytest.mark.parametrize("n", [100, 1000])
def test_the_lower_limit_of_a_band_is_inside_and_the_upper_one_outside(n: int) -> None:
    value = np.full(n, 13.0)
    value[[n // 3, n // 2]] = [12.0, 14.0]
    for low in (12.0, -inf):
        assert track_of(value).first_outside(0, n, low, 14.0) == n // 2
    assert track_of(value).first_outside(0, n, 12.0, inf) == n


def test_what_lies_beyond_the_end_of_the_question_is_not_looked_at() -> None:
    value = np.full(20_000, 13.0)
    value[15_000] = 0.0
    growing = Track()
    for start in range(0, 20_000, 500):
        part = slice(start, start + 500)
        times = np.asarray(np.arange(start, start + 500) * 0.1, dtype=np.float64)
        growing.extend(times, value[part], np.full(500, 0.01, np.float32), start)
    for track in (track_of(value), growing):
        assert track.first_outside(14_700, 14_990, 12.0, 14.0) == 14_990
        assert track.first_outside(14_700, 20_000, 12.0, 14.0) == 15_000
    assert track_of(np.full(6000, 13.0)).calm_until(64, 3000, 0.91, 14.0, 64) <= 3000


def test_four_readings_tell_the_nominal_interval() -> None:
    track = track_of(np.zeros(20))
    assert np.isnan(track.nominal_s(3))
    assert track.nominal_s(4) == pytest.approx(0.1)
