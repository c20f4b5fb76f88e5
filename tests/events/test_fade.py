"""A supply that sinks so slowly that the sliding reference goes along is found by the slow one."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

Found = Callable[..., list[Event]]
INTERVALS_S = [0.05, 0.25, 0.5, 1.0]


def along(points: Sequence[tuple[float, float]], interval_s: float, noise: float = 0.01) -> Series:
    """Make readings along straight lines between (time, level) points."""
    time_s = np.arange(0.1, points[-1][0], interval_s, dtype=np.float64)
    value = np.interp(time_s, [at for at, _ in points], [level for _, level in points])
    value = np.round(value + np.random.default_rng(8).normal(0.0, noise, len(time_s)), 2)
    return Series(time_s, value, np.full(len(time_s), 0.01, np.float32), np.zeros(len(time_s), np.uint16))


def events_of(points: Sequence[tuple[float, float]], interval_s: float) -> list[Event]:
    return detect(Channel(1, "ignition feed", Quantity.DC_VOLTAGE), along(points, interval_s))


@pytest.mark.parametrize("interval_s", INTERVALS_S)
@pytest.mark.parametrize("fall_s", [40.0, 90.0, 900.0])
def test_a_fall_from_12_4_to_9_volts_is_a_fade_however_slow_and_however_fast_it_is_read(
    fall_s: float, interval_s: float
) -> None:
    """Once: 'no sag was seen. Anything shorter than 0.21 s could have passed unseen'."""
    (event,) = events_of([(0, 12.4), (60, 12.4), (60 + fall_s, 9.0), (90 + fall_s, 9.0)], interval_s)
    assert event.kind == "fade"
    assert event.start_s == pytest.approx(60 + fall_s * 1.24 / 3.4, abs=0.08 * fall_s)
    assert event.end_s == pytest.approx(90 + fall_s, abs=1.5)
    assert event.duration_s is None
    assert event.extreme == pytest.approx(9.0, abs=0.05)
    assert event.reference == pytest.approx(12.4, abs=0.1)
    assert event.detail.startswith("sank from 12.")
    assert "V a minute" in event.detail
    assert "had not recovered" in event.detail


@pytest.mark.parametrize("interval_s", INTERVALS_S)
@pytest.mark.parametrize("back_s", [0.1, 20.0])
def test_a_fade_that_recovers_is_timed(back_s: float, interval_s: float) -> None:
    """A warm connection that is moved makes contact again at once, or cools."""
    points = [(0, 12.4), (60, 12.4), (120, 9.0), (150, 9.0), (150 + back_s, 12.4), (210, 12.4)]
    (event,) = events_of(points, interval_s)
    ends_s = 150 + back_s * (0.92 * 12.4 - 9.0) / 3.4
    assert event.end_s == pytest.approx(ends_s, abs=2 * interval_s + 0.1 * back_s)
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    assert abs(event.duration_s - (ends_s - (60 + 60 * 1.24 / 3.4))) <= event.duration_error_s + 3.0


def test_a_24_v_supply_that_sinks_below_its_floor_fades_and_a_12_v_one_beside_it_does_not() -> None:
    """10.5 V and 21 V: 1.75 V a cell."""
    (event,) = events_of([(0, 22.9), (60, 22.9), (200, 20.7), (260, 20.7)], 0.25)
    assert event.kind == "fade"
    assert events_of([(0, 11.45), (60, 11.45), (200, 10.7), (260, 10.7)], 0.25) == []
    (event,) = events_of([(0, 11.45), (60, 11.45), (200, 10.35), (260, 10.35)], 0.25)
    assert event.kind == "fade"


@pytest.mark.parametrize("interval_s", INTERVALS_S)
@pytest.mark.parametrize(
    "points",
    [
        pytest.param([(0, 14.9), (60, 14.9), (75, 12.4), (200, 12.4), (230, 14.9), (300, 14.9)], id="regulated"),
        pytest.param([(0, 14.3), (60, 14.3), (61, 13.1), (600, 12.5)], id="charging ends, surface charge goes"),
        pytest.param([(0, 12.7), (60, 12.7), (400, 11.8)], id="a battery in use"),
        pytest.param([(0, 9.0), (120, 9.0)], id="low all along: said by a finding"),
    ],
)
def test_what_sinks_by_design_is_no_fade(points: Sequence[tuple[float, float]], interval_s: float) -> None:
    assert events_of(points, interval_s) == []


def test_a_sag_inside_a_fade_and_a_loss_at_its_end_are_told_beside_it() -> None:
    points = [(0, 12.4), (60, 12.4), (120, 10.0), (140, 10.0), (140.1, 7.0), (143, 7.0), (143.1, 10.0), (160, 10.0)]
    events = events_of([*points, (160.1, 0.0), (220, 0.0)], 0.25)
    assert [event.kind for event in events] == ["fade", "sag", "supply_lost"]
    assert events[0].end_s == pytest.approx(events[2].start_s)
    assert events[0].duration_s is not None
    assert events[0].extreme == pytest.approx(10.0, abs=0.05), "the sag's lowest is the sag's"


def test_a_fast_fall_is_a_sag_and_no_fade(found: Found) -> None:
    (event,) = found([(12.4, 60), (9.0, 40), (12.4, 30)])
    assert event.kind == "sag"
    (event,) = found([(12.6, 60), (11.8, 20), (9.0, 4), (12.6, 30)])
    assert event.kind == "sag", "a step, though it had sunk a little before"


def test_a_prime_that_droops_is_no_fade(found: Found) -> None:
    drooping = [(12.4 - 0.1 * k, 0.3) for k in range(18)]
    assert [event.kind for event in found([(0, 5), *drooping, (0, 10)], interval_s=0.1)] == ["prime_pulse"]


def test_a_fall_below_the_floor_is_no_new_level(found: Found) -> None:
    """11.9 V, then 10.2 V for good: within 20 %, but no 12 V supply stands there."""
    (event,) = found([(11.9, 30), (10.2, 90)])
    assert event.kind == "sag"
    (event,) = found([(11.9, 30), (10.6, 90)])
    assert event.kind == "fade", "a level of its own, but below 90 % of the one before"
    assert found([(11.7, 30), (10.6, 90)]) == []
