"""A display that stands still to the last digit, after it flickered, is told; that time does not count as watched."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import examine
from meterlog.events.event import Event
from meterlog.events.watch import Watch
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

INTERVAL_S = 0.25


def seen(value: NDArray[np.float64]) -> tuple[list[Event], Watch]:
    count = len(value)
    time_s = np.asarray(np.arange(count) * INTERVAL_S, np.float64)
    series = Series(time_s, np.round(value, 2), np.full(count, 0.01, np.float32), np.zeros(count, np.uint16))
    found = examine(Channel(1, "pump feed", Quantity.DC_VOLTAGE), series)
    return found.events, found.watch


def flickering(seed: int, level: NDArray[np.float64] | float, noise_v: float, count: int) -> NDArray[np.float64]:
    return np.asarray(level + np.random.default_rng(seed).normal(0.0, noise_v, count), np.float64)


@pytest.mark.parametrize("seed", range(5))
def test_a_minute_of_one_number_from_a_meter_that_flickered_is_told_and_not_watched(seed: int) -> None:
    value = flickering(seed, 12.6, 0.02, 1200)
    value[600:840] = value[600]
    events, watch = seen(value)
    (event,) = [event for event in events if event.kind == "held_display"]
    assert event.start_s == pytest.approx(150.0, abs=INTERVAL_S)
    assert event.end_s == pytest.approx(210.0, abs=2 * INTERVAL_S)
    assert f"stood still at {value[600]:.2f}".rstrip("0") in event.detail
    assert watch.watched_s == pytest.approx(300.0 - 60.0, abs=1.0)
    assert watch.shortest_visible_s >= 60.0 > 1.0 >= watch.shortest_while_watched_s


def test_it_is_told_where_the_recording_ends_with_it() -> None:
    value = flickering(1, 12.6, 0.02, 800)
    value[500:] = value[500]
    assert [event.kind for event in seen(value)[0]] == ["held_display"]


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("noise_v", [0.0, 0.001, 0.003, 0.006, 0.02])
def test_digits_that_come_to_rest_as_a_level_drifts_are_no_standstill(seed: int, noise_v: float) -> None:
    level = 12.6 - 0.1 * np.arange(20_000) / 20_000
    assert seen(flickering(seed, level, noise_v, 20_000))[0] == []


def test_a_supply_that_was_switched_off_does_not_stand_still() -> None:
    value = flickering(2, 12.6, 0.02, 1200)
    value[600:] = 0.0
    assert "held_display" not in [event.kind for event in seen(value)[0]]


def test_a_display_that_never_flickered_may_stand_still() -> None:
    assert seen(np.full(1200, 12.6))[0] == []


def test_a_level_that_moved_smoothly_and_came_to_rest_does_not_stand_still() -> None:
    at = np.arange(1200)
    ripple = 13.8 + 0.1 * np.sin(at / 5.0)
    assert "held_display" not in [e.kind for e in seen(np.where(at < 600, ripple, 13.78))[0]]
    sinking = 12.35 + 1.8 * np.exp(-np.maximum(at - 100, 0) / 10.0)
    assert "held_display" not in [e.kind for e in seen(sinking)[0]]
