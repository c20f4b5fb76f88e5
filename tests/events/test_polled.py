"""A display that is polled faster than it changes: the events are those of its looks, live and later alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.events.detect import detect
from meterlog.events.live import LiveDetector
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.looks import Looks, repeats

Log = Callable[..., Series]

LOOK_S = 0.25


def polled(shown: Series, times: float, noise: float) -> Series:
    """Read what a display showed so many times a look, its digits astir by so much."""
    shown = astir(shown, noise)
    time_s: NDArray[np.float64] = np.arange(shown.time_s[0] + 0.01, shown.time_s[-1], LOOK_S / times)
    look = shown.time_s.searchsorted(time_s, "right") - 1
    return Series(time_s, shown.value[look], shown.resolution[look], shown.flags[look])


def astir(shown: Series, noise: float) -> Series:
    stray = np.random.default_rng(1).normal(0.0, noise, len(shown))
    return replace(shown, value=np.round(shown.value + stray, 2))


@pytest.mark.parametrize("declared_s", [None, LOOK_S])
@pytest.mark.parametrize("times", [2.0, 3.3, 10.0])
@pytest.mark.parametrize("dropout_s", [0.8, 1.3, 4.0])
def test_a_dropout_is_one_event_that_lasts_what_is_stated(
    log: Log, times: float, dropout_s: float, declared_s: float | None
) -> None:
    noise = 0.0 if declared_s else 0.02  # digits that stand still tell nothing of the display
    for offset_s in (0.0, 0.07, 0.15):
        steps = [(12.6, 30.0 + offset_s), (0.0, dropout_s), (12.6, 20.0)]
        series = polled(log(steps, interval_s=LOOK_S, window=0.9), times, noise)
        (event,) = detect(Channel(1, "feed", Quantity.DC_VOLTAGE, interval_s=declared_s), series)
        assert event.kind == "dropout"
        assert event.duration_s is not None
        assert event.duration_error_s is not None
        assert abs(event.duration_s - dropout_s) <= event.duration_error_s <= 2 * LOOK_S


@pytest.mark.parametrize("times", [1.0, 2.0, 3.3, 10.0])
def test_looks_are_the_same_however_readings_arrive(times: float) -> None:
    """Also where the digits stand still for long, the link pauses, and the meter is read at another rate."""
    rng = np.random.default_rng(3)
    looks = np.round(12.6 + rng.normal(0.0, 0.02, 4000), 2)
    looks[1000:1400] = 12.6
    value = np.concatenate(
        [looks[(np.arange(3900 * times) / times).astype(int)], looks[:1500], np.repeat(looks[:900], 4)]
    )
    time_s = np.cumsum(np.where(np.arange(len(value)) % 3000 == 2999, 5.0, 0.05))
    columns = np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16)
    series = Series(time_s, value, *columns)
    at_once, in_parts, at = Looks(), Looks(), 0
    together = at_once.feed(series)
    apart = []
    while at < len(series):
        size = int(rng.integers(1, 700))
        apart.append(in_parts.feed(series[at : at + size]))
        at += size
    assert len(together) < len(series)
    assert (at_once.repeats, at_once.cadences) == (in_parts.repeats, in_parts.cadences)
    for name in ("time_s", "value", "time_error_s"):
        np.testing.assert_array_equal(np.concatenate([getattr(part, name) for part in apart]), getattr(together, name))
    assert np.all(np.diff(together.time_s) >= 0.0)


def test_the_events_of_a_polled_display_are_the_same_live_and_later(log: Log) -> None:
    rng = np.random.default_rng(4)
    steps = [(12.6, 40.0), (0.0, 1.2), (12.6, 30.0), (9.4, 2.0), (12.6, 30.0), (0.0, 0.6), (12.6, 0.5), (0.0, 0.7)]
    for times in (2.0, 3.3, 10.0):
        series = polled(log([*steps, (12.6, 20.0)], interval_s=LOOK_S, window=0.5), times, 0.02)
        channel = Channel(1, "feed", Quantity.DC_VOLTAGE)
        live, at = LiveDetector(channel), 0
        readings = [
            Reading(t, v, Quantity.DC_VOLTAGE, 0.01, Flag(0))
            for t, v in zip(series.time_s.tolist(), series.value.tolist(), strict=True)
        ]
        while at < len(readings):
            size = int(rng.integers(1, 40))
            live.feed(readings[at : at + size])
            at += size
        live.finish()
        assert live.events == detect(channel, series)
        assert {event.kind for event in live.events} >= {"dropout", "sag"}


def test_a_meter_that_shows_each_reading_once_keeps_them_all(log: Log) -> None:
    series = astir(log([(12.6, 60.0), (0.0, 1.0), (12.6, 60.0)], interval_s=0.1), 0.01)
    assert Looks(0.1).feed(series) is series
    assert repeats(series, 0.1) == repeats(series, None) == 1.0


def test_readings_of_one_time_are_all_kept() -> None:
    value = np.repeat(np.round(12.6 + np.random.default_rng(5).normal(0.0, 0.02, 100), 2), 4)
    series = Series(np.zeros(400), value, np.full(400, 0.01, np.float32), np.zeros(400, np.uint16))
    assert Looks(0.3).feed(series) is series


def test_overload_that_stands_is_thinned_as_any_value_is() -> None:
    value = np.repeat([40.0, 40.1, 40.0, *[np.inf] * 20, 40.0], 10)
    count = len(value)
    time_s = 0.025 * np.arange(count, dtype=np.float64)
    series = Series(time_s, value, np.full(count, 0.1, np.float32), np.zeros(count, np.uint16))
    looks = Looks(LOOK_S).feed(series)
    assert np.count_nonzero(np.isinf(looks.value)) == 20
