"""Readings that arrive together get the times at which they were shown, and an error that covers the truth."""

from __future__ import annotations

from collections.abc import Callable
from itertools import groupby

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.reading import Quantity, Reading
from meterlog.timing.cadence import Cadence

Times = NDArray[np.float64]
Beat = Callable[[Times, np.random.Generator], Times]
OPENED_S = 100.0
LATENCY_S = 0.003


def every(seconds: float) -> Beat:
    """A link that hands on what it has every so often."""
    return lambda shown, rng: np.ceil((shown - (phase := rng.uniform(0, seconds))) / seconds) * seconds + phase


def five(shown: Times, _rng: np.random.Generator) -> Times:
    """A link that hands on five at a time."""
    return shown[np.minimum(np.arange(len(shown)) // 5 * 5 + 4, len(shown) - 1)]


def at_random(shown: Times, rng: np.random.Generator) -> Times:
    """A link that hands on what it has at random moments, 0.6 s apart on average."""
    moments = shown[0] + np.cumsum(rng.exponential(0.6, 10 * len(shown)))
    return np.asarray(moments[np.searchsorted(moments, shown)])


BEATS = {"4 a second": every(0.25), "1 a second": every(1.0), "5 at a time": five, "random": at_random}


def timed(arrivals: Times, wire: bool = False) -> tuple[Times, Times]:
    """Return what a cadence makes of readings that arrive at these times: times and errors."""
    cadence, given = Cadence(OPENED_S, wire), []
    for arrival_s, together in groupby(arrivals):
        given += cadence.timed([Reading(float(arrival_s), 12.0, Quantity.DC_VOLTAGE) for _ in together])
    return np.array([r.time_s for r in given]), np.array([r.time_error_s for r in given])


def shown(rng: np.random.Generator, interval_s: float, seconds: float = 120.0) -> Times:
    """Return when a meter shows readings that stray by 2 % of its interval."""
    times = np.arange(OPENED_S + rng.uniform(0.1, 1.0), OPENED_S + seconds, interval_s * rng.uniform(0.98, 1.02))
    return np.asarray(times + np.abs(rng.normal(0.0, 0.02 * interval_s, len(times))))


@pytest.mark.parametrize("beat", [beat for beat in BEATS if beat != "4 a second"])
@pytest.mark.parametrize("interval_s", [0.1, 0.33, 0.5])
def test_bundled_readings_are_spread_over_the_meters_cadence(beat: str, interval_s: float) -> None:
    off, stated = [], []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        truth = shown(rng, interval_s)
        arrivals = BEATS[beat](truth, rng)
        times, errors = timed(arrivals)
        assert np.all(np.diff(times) >= 0.0)
        assert np.all(times <= arrivals + 1e-9)
        assert times[0] >= OPENED_S
        assert np.median(np.diff(times)) == pytest.approx(interval_s, rel=0.04)
        off.append(np.abs(times - truth))
        stated.append(errors)
    assert np.mean(np.concatenate(off) <= np.concatenate(stated)) >= 0.95
    assert np.median(np.concatenate(stated)) <= 0.75 * interval_s


def test_a_meter_faster_than_its_links_beat_is_timed_better_than_the_beat() -> None:
    rng = np.random.default_rng(5)
    truth = shown(rng, 0.1)
    times, errors = timed(every(0.25)(truth, rng))
    assert np.mean(np.abs(times - truth) <= errors) >= 0.95
    assert np.median(errors) <= 0.04


def test_a_beat_that_brings_one_or_none_at_a_time_is_no_clock_either() -> None:
    rng = np.random.default_rng(6)
    truth = shown(rng, 0.33)
    times, errors = timed(every(0.25)(truth, rng))
    later = slice(60, None)  # sixteen spacings tell it
    assert np.mean(np.abs(times - truth)[later] <= errors[later]) >= 0.95
    assert np.median(np.diff(times[later])) == pytest.approx(0.33, rel=0.03)


@pytest.mark.parametrize("wire", [False, True])
def test_readings_that_come_alone_keep_their_arrival_and_cost_nothing(wire: bool) -> None:
    rng = np.random.default_rng(1)
    arrivals = shown(rng, 0.25) + rng.uniform(0.0, LATENCY_S)
    times, errors = timed(arrivals, wire)
    assert np.array_equal(times, arrivals)
    assert not errors.any()


def test_lost_readings_do_not_spoil_the_stated_error() -> None:
    covered = []
    for seed in range(6):
        rng = np.random.default_rng(seed)
        truth = shown(rng, 0.25)
        truth = truth[rng.random(len(truth)) >= 0.02]
        times, errors = timed(at_random(truth, rng))
        covered.append(np.abs(times - truth) <= errors)
    assert np.mean(np.concatenate(covered)) >= 0.95


@pytest.mark.parametrize("wire", [False, True])
def test_what_waited_while_the_computer_stood_still_for_a_minute_is_dated_to_a_reading(wire: bool) -> None:
    rng = np.random.default_rng(2)
    truth = shown(rng, 0.25, 200.0)
    arrivals = np.where((truth > 160.0) & (truth < 220.0), 220.0, truth)
    times, errors = timed(arrivals, wire)
    off = np.abs(times - truth)
    assert off.max() < 0.25
    assert np.all(off <= errors + 1e-9)
    assert errors[truth > 290.0].max() == 0.0  # arrival gives the time again


def test_columns_of_one_display_have_one_time() -> None:
    cadence = Cadence(OPENED_S, False)
    together = [Reading(103.0, 1.0, Quantity.DC_VOLTAGE, column=column) for _ in range(6) for column in (0, 1)]
    cadence.timed([Reading(102.0, 1.0, Quantity.DC_VOLTAGE, column=column) for _ in range(4) for column in (0, 1)])
    times = [reading.time_s for reading in cadence.timed(together)]
    assert times[0::2] == times[1::2]
    assert len(set(times)) == 6


def test_what_had_waited_before_the_link_was_opened_says_how_little_is_known() -> None:
    cadence = Cadence(OPENED_S, False)
    first = cadence.timed([Reading(OPENED_S + 0.01, 1.0, Quantity.DC_VOLTAGE) for _ in range(8)])
    assert all(OPENED_S <= reading.time_s <= OPENED_S + 0.01 for reading in first)
    assert max(reading.time_error_s for reading in first) >= 4.0
