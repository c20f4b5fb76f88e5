"""Starts of an engine are told by their shape, by the charging that begins after them, and by markers."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

Found = Callable[..., list[Event]]
STEP_S = 0.005


def start_log(seed: int, *, charges: bool) -> Series:
    """A start at two readings a second: an inrush, compressions around a plateau, and charging 1.5 to 18 s later."""
    rng = np.random.default_rng([seed, charges])
    rest, low = rng.uniform(12.1, 12.8), rng.uniform(7.6, 10.2)
    length_s, wait_s = rng.uniform(0.7, 3.0), float(np.clip(rng.lognormal(np.log(3.4), 0.6), 1.5, 18.0))
    time_s = np.arange(0.0, 75.0, STEP_S)
    begin_s = rng.uniform(20.0, 21.0)
    since = time_s - begin_s
    plateau = low + 0.35 * (rest - low)
    ripple = 0.1 * (rest - low) * np.sin(2.0 * np.pi * rng.uniform(6.0, 12.0) * since)
    value = np.full(len(time_s), rest)
    value = np.where((since >= 0.0) & (since < length_s), plateau + ripple, value)
    value = np.where((since >= 0.0) & (since < 0.06), low, value)
    if charges:
        charging = since - length_s - wait_s
        value = np.where(charging > 0.0, 14.1 - (14.1 - rest) * np.exp(-np.maximum(charging, 0.0) / 0.6), value)
    window = int(0.1 / STEP_S)
    averaged = np.convolve(value, np.full(window, 1.0 / window))[: len(value)]
    at = np.arange(window, len(time_s), int(0.5 / STEP_S))
    shown = np.round(averaged[at] + rng.normal(0.0, 0.01, len(at)), 2)
    n = len(at)
    return Series(time_s[at], shown, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))


@pytest.mark.parametrize("charges", [True, False])
def test_of_80_starts_at_2_readings_a_second_95_in_100_are_named(charges: bool) -> None:
    """Once none was, since charging was looked for in the four readings after the dip only."""
    named = 0
    for seed in range(80):
        events = detect(Channel(1, "ignition feed", Quantity.DC_VOLTAGE), start_log(seed, charges=charges))
        assert all(event.kind == "sag" for event in events)
        named += any("cranking" in event.detail for event in events)
        if charges:
            assert all("perhaps" not in event.detail for event in events)
    assert named >= 76


def test_charging_seconds_after_the_dip_says_when_it_began(found: Found) -> None:
    steps = [(12.5, 20), (9.6, 0.5), (10.2, 0.5), (12.4, 9.0), (14.1, 30)]
    (event,) = found(steps, interval_s=0.5)
    assert "cranking, by the charging that began 9.6 s after it" in event.detail
    (late,) = found([*steps[:3], (12.4, 25.0), (14.1, 30)], interval_s=0.5)
    assert "perhaps cranking (it has that shape)" in late.detail


def test_an_aborted_start_and_the_start_after_it_are_both_named(found: Found) -> None:
    short = [(9.9, 0.5), (10.3, 0.4)]
    events = found([(12.5, 20), *short, (12.4, 8), *short, (12.4, 3), (14.1, 30)], interval_s=0.25)
    assert ["cranking" in event.detail for event in events] == [True, True]
    assert "charging" in events[1].detail


@pytest.mark.parametrize(
    ("rest", "dip"),
    [
        pytest.param(14.1, [(9.6, 0.5), (10.2, 0.5)], id="the engine runs"),
        pytest.param(12.5, [(9.8, 8.0)], id="a plateau without a ripple"),
        pytest.param(12.5, [(9.6, 0.5), (10.2, 18.0)], id="longer than anybody cranks"),
        pytest.param(8.9, [(7.0, 0.5), (7.4, 0.5)], id="no rest level of a battery"),
    ],
)
def test_what_has_not_the_shape_of_a_start_is_not_named(
    found: Found, rest: float, dip: list[tuple[float, float]]
) -> None:
    (event,) = found([(rest, 20), *dip, (rest, 30)])
    assert event.kind == "sag"
    assert "crank" not in event.detail


@pytest.mark.parametrize("pause_s", [8.0, 20.0, 45.0])
def test_of_start_stop_the_start_alone_is_a_sag_and_is_named(found: Found, pause_s: float) -> None:
    """Once one sag of half a minute, from the charging level through the engine's rest to the dip, and 'outside'."""
    (event,) = found([(14.2, 40), (12.4, pause_s), (9.6, 0.25), (10.3, 0.5), (12.4, 2.0), (14.1, 40)])
    assert event.kind == "sag"
    assert "cranking, by" in event.detail
    assert event.reference == pytest.approx(12.4, abs=0.05)
    assert event.start_s == pytest.approx(40 + pause_s, abs=0.3)
