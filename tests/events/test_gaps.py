"""A gap is told as what it is: of the link, of a table, or of a range; a log's own rates are none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import detect, examine
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import IMPORT, Channel

RECORDED = Channel(1, "pump feed", Quantity.DC_VOLTAGE)
IMPORTED = replace(RECORDED, driver=IMPORT)
Floats = NDArray[np.float64]


def log_at(time_s: Floats, value: Floats | float = 12.6, resolution: Floats | float = 0.01) -> Series:
    count = len(time_s)
    counts = np.broadcast_to(np.asarray(resolution, np.float32), count).copy()
    return Series(
        time_s, np.broadcast_to(np.asarray(value, np.float64), count).copy(), counts, np.zeros(count, np.uint16)
    )


def two_rates(hours: int) -> Floats:
    """Once a minute, and twice a second for half a minute each hour."""
    slow = [np.arange(3600.0 * k, 3600.0 * (k + 1), 60.0) for k in range(hours)]
    fast = [np.arange(3600.0 * k + 1210.0, 3600.0 * k + 1240.0, 0.5) for k in range(hours)]
    return np.sort(np.concatenate([*slow, *fast]))


def test_a_table_of_two_rates_has_no_gaps_and_its_slow_part_is_the_blind_time() -> None:
    """It was said: 'no readings for 60.0 s: the link to the meter, not the circuit', some thousand times."""
    events, watch = examine(IMPORTED, log_at(two_rates(24)))
    assert events == []
    assert watch.watched_s == pytest.approx(24 * 3600.0, abs=60.0)
    assert watch.shortest_visible_s >= 60.0


@pytest.mark.parametrize("seed", range(5))
def test_a_table_of_readings_as_they_came_has_no_gaps(seed: int) -> None:
    time_s = np.cumsum(np.random.default_rng(seed).exponential(0.7, 500))
    assert [event.kind for event in detect(IMPORTED, log_at(time_s))] == []


def test_a_hole_in_a_table_is_a_gap_of_the_table_and_not_of_a_link() -> None:
    time_s = np.arange(0.0, 300.0, 0.5)
    (event,) = detect(IMPORTED, log_at(time_s[(time_s < 100.0) | (time_s > 130.0)]))
    assert event.kind == "gap"
    assert event.detail == "no readings for 31.0 s: the table that was imported holds none"


def test_a_meter_that_goes_over_to_another_rate_has_two_gaps_at_most() -> None:
    """Live, the first waits cannot be told from a lost link."""
    time_s = np.concatenate([np.arange(0.0, 100.0, 0.25), 100.0 + np.arange(1, 200) * 5.0])
    assert [event.kind for event in detect(RECORDED, log_at(time_s))] == ["gap", "gap"]


def test_a_meter_that_shows_nothing_while_it_changes_its_range_has_lost_no_link() -> None:
    """It was said: '4 gaps, 6.74 s in all without readings: the link to the meter, not the circuit'."""
    time_s = np.arange(0.0, 60.0, 0.3)
    kept = ((time_s < 10.0) | (time_s > 11.5)) & ((time_s < 13.9) | (time_s > 15.4))
    on = (time_s > 10.2) & (time_s < 14.0)
    series = log_at(time_s, np.where(on, 12.4, 0.0), np.where(on, 0.01, 0.0001))[kept]
    events = detect(RECORDED, series)
    assert sorted(event.kind for event in events) == ["prime_pulse", "range_change", "range_change"]
    (prime,) = [event for event in events if event.kind == "prime_pulse"]
    assert prime.duration_s is not None
    assert prime.duration_error_s is not None
    assert abs(prime.duration_s - 3.8) <= prime.duration_error_s
    assert prime.duration_error_s >= 1.5  # both edges lie in what was not seen


def test_overload_while_ohms_change_their_range_is_no_opening() -> None:
    """It was said: 'open for 0.7 s +-0.8', of a display that went from 320.0 ohm over OL to 1.234 kohm."""
    time_s = np.arange(0.0, 40.0, 0.3)
    value = np.where(time_s < 15.0, 320.0, np.where(time_s < 15.7, np.inf, 1234.0))
    series = log_at(time_s, value, np.where(time_s < 15.0, 0.1, 1.0))
    wire = Channel(1, "feed wire", Quantity.RESISTANCE)
    assert [e.kind for e in detect(wire, series)] == ["range_change", "resistance_step"]
    opened = replace(series, value=np.where(time_s < 15.0, 320.0, np.where(time_s < 15.7, np.inf, 320.0)))
    assert "open_circuit" in [e.kind for e in detect(wire, opened)]


def test_one_overload_before_a_much_higher_resistance_is_no_opening_in_a_table_of_one_resolution() -> None:
    time_s = np.arange(0.0, 40.0, 0.5)
    value = np.where(time_s < 15.0, 107.6, np.where(time_s < 15.5, np.inf, 3111.0))
    wire = Channel(1, "feed wire", Quantity.RESISTANCE, driver=IMPORT)
    assert [e.kind for e in detect(wire, log_at(time_s, value, 0.1))] == ["resistance_step"]


def test_an_overvoltage_after_a_gap_makes_no_24_v_system() -> None:
    """21.5 V for 6 s, begun within a gap, was 'no overvoltage was seen'."""
    time_s = np.arange(0.0, 60.0, 0.2)
    value = np.where((time_s > 30.0) & (time_s < 38.0), 21.5, 14.1)
    kept = (time_s < 29.0) | (time_s > 31.0)
    assert [e.kind for e in detect(RECORDED, log_at(time_s, value)[kept])] == ["gap", "overvoltage"]
