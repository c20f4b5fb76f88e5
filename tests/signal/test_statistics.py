"""A channel's figures are those of all its readings, and the mean is over time."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from meterlog.series import Series
from meterlog.signal.statistics import statistics
from meterlog.signal.statistics_text import left_out, statistics_words


def series(time_s: NDArray[np.float64], value: NDArray[np.float64]) -> Series:
    """Readings with a count of 0.01."""
    return Series(time_s, value, np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16))


@settings(max_examples=40)
@given(
    st.integers(0, 1000),
    st.sampled_from([1, 2, 3, 100, 8192, 8193, 70_001]),
    st.sampled_from([0.0, 0.01, 0.5, 1e-12, 4.0]),
)
def test_even_readings_have_their_plain_figures(seed: int, count: int, step: float) -> None:
    rng = np.random.default_rng(seed)
    value = rng.normal(12.0, 1.0, count)
    value = np.round(value / step) * step if step else value
    found = statistics(series(0.25 * np.arange(float(count)), value))
    assert (found.minimum, found.maximum, found.last) == (value.min(), value.max(), value[-1])
    assert found.median == np.median(value)
    assert found.mean == pytest.approx(value.mean(), rel=1e-12)
    if count > 1:
        slope = np.polyfit(0.25 * np.arange(count), value, 1)[0]
        assert found.slope_per_s == pytest.approx(slope, rel=1e-6, abs=1e-12)


def test_a_minute_read_ten_times_faster_does_not_draw_the_mean() -> None:
    time_s = np.concatenate([np.arange(0.0, 60.0, 0.1), np.arange(60.0, 120.0, 1.0)])
    value = np.where(time_s < 60.0, 14.0, 12.0)
    found = statistics(series(time_s, value))
    assert found.mean == pytest.approx(13.0, abs=0.02)
    assert value.mean() == pytest.approx(13.8, abs=0.05), "the plain mean is that of the fast minute"


def test_nobody_knows_what_was_there_in_a_break() -> None:
    time_s = np.concatenate([np.arange(0.0, 30.0, 0.5), np.arange(5000.0, 5030.0, 0.5)])
    value = np.where(time_s < 30.0, 12.0, 14.0)
    value[59] = 0.0  # the last reading before the break
    assert statistics(series(time_s, value)).mean == pytest.approx(value.mean(), abs=1e-9)


def test_the_one_lowest_of_a_million_is_found() -> None:
    value = np.round(np.random.default_rng(4).normal(13.8, 0.02, 1_000_000), 2)
    value[654_321] = 0.17
    found = statistics(series(0.1 * np.arange(float(len(value))), value))
    assert (found.minimum, found.median) == (0.17, np.median(value))


@pytest.mark.parametrize("period", [2, 3, 50, 51])
def test_readings_in_step_with_the_sample_do_not_mislead_the_median(period: int) -> None:
    value = np.arange(1_000_000) % period + np.linspace(0.0, 0.1, 1_000_000)
    assert statistics(series(0.1 * np.arange(float(len(value))), value)).median == np.median(value)


def test_overload_is_left_out_and_said() -> None:
    value = np.array([1.0, np.inf, 3.0, np.inf])
    found = statistics(series(np.arange(4.0), value))
    assert (found.minimum, found.maximum, found.overloads, found.last) == (1.0, 3.0, 2, None)
    assert statistics_words(found, "ohm", 0.01) == (
        "1.00 ohm", "3.00 ohm", "2.00 ohm", "2.00 ohm", "overload", "1 ohm/s",
    )  # fmt: skip
    assert left_out(found, 1) == "2 overloads and 1 doubtful reading"


@pytest.mark.parametrize("value", [[], [np.inf], [np.nan, np.inf]])
def test_without_a_number_there_is_no_figure(value: list[float]) -> None:
    found = statistics(series(np.arange(float(len(value))), np.array(value)))
    assert (found.minimum, found.mean, found.median, found.slope_per_s) == (None, None, None, None)


def test_readings_of_one_moment_have_a_mean_and_no_slope() -> None:
    found = statistics(series(np.zeros(3), np.array([1.0, 2.0, 6.0])))
    assert (found.mean, found.median, found.slope_per_s) == (3.0, 2.0, None)


@pytest.mark.parametrize("size", [1e308, 1e200, 5e-324])
def test_readings_that_no_meter_shows_have_figures_too(size: float) -> None:
    value = np.array([size, -size, size, size])
    found = statistics(series(np.arange(4.0), value))
    assert (found.minimum, found.maximum, found.last) == (-size, size, size)
    assert found.mean is not None
    assert -size <= found.mean <= size


@pytest.mark.parametrize(("rise", "said"), [(1e-4, "0 V/min"), (0.6, "0.2 V/min")])
def test_a_slope_that_no_count_shows_is_none(rise: float, said: str) -> None:
    found = statistics(series(np.array([0.0, 90.0, 180.0]), 12.5 + np.array([0.0, rise / 2, rise])))
    assert statistics_words(found, "V", 0.01)[-1] == said
