"""An armed capture keeps what came before its condition as well as what follows, on every channel."""

from __future__ import annotations

import math

import pytest

from meterlog.capture.trigger import ArmedCapture, ConditionWatch
from meterlog.condition import Condition
from meterlog.errors import UsageError
from meterlog.reading import Flag, Quantity, Reading

V, OHM = Quantity.DC_VOLTAGE, Quantity.RESISTANCE


def volts(*values: float, start_s: float = 0.0, step_s: float = 0.1) -> list[Reading]:
    return [Reading(round(start_s + i * step_s, 6), value, V, 0.01) for i, value in enumerate(values)]


def ohms(*values: float) -> list[Reading]:
    return [
        Reading(i * 0.1, value, OHM, 0.1, Flag.OVERLOAD if math.isinf(value) else Flag.NONE)
        for i, value in enumerate(values)
    ]


def fires(condition: str, readings: list[Reading]) -> list[int]:
    watch = ConditionWatch(Condition.parse(condition))
    return [i for i, reading in enumerate(readings) if watch.sees(reading)]


@pytest.mark.parametrize(
    ("text", "kind", "level", "unit", "channel"),
    [
        ("rise 6V", "rise", 6.0, "V", ""),
        ("rise 6 V", "rise", 6.0, "V", ""),
        ("  fall   9.5 ", "fall", 9.5, "", ""),
        ("above 500mA", "above", 0.5, "A", ""),
        ("below 9.6V on battery post", "below", 9.6, "V", "battery post"),
        ("above 1.5kohm on 2", "above", 1500.0, "ohm", "2"),
        ("below -40mV", "below", -0.04, "V", ""),
        ("rise 2MHz", "rise", 2e6, "Hz", ""),
        ("above 90C", "above", 90.0, "degC", ""),
        ("open", "open", 0.0, "", ""),
        ("closed on plug", "closed", 0.0, "", "plug"),
    ],
)
def test_conditions_are_understood(text: str, kind: str, level: float, unit: str, channel: str) -> None:
    condition = Condition.parse(text)
    assert (condition.kind, condition.unit, condition.channel) == (kind, unit, channel)
    assert condition.level == pytest.approx(level)


@pytest.mark.parametrize("text", ["", "rises 6V", "rise", "rise six", "rise 6 pounds", "open 6V", "6V", "rise 6V at 3"])
def test_what_is_no_condition_is_refused_with_an_example(text: str) -> None:
    with pytest.raises(UsageError, match=r"6V|level|unit"):
        Condition.parse(text)


def test_a_rise_is_a_crossing_not_a_state() -> None:
    assert fires("rise 6V", volts(12, 12, 0, 0, 6, 12, 0, 12)) == [4, 7]


def test_a_fall_is_a_crossing_not_a_state() -> None:
    assert fires("fall 9V", volts(8, 12, 9, 8, 12, 7)) == [2, 5]


def test_above_and_below_count_from_the_first_reading_and_once_an_excursion() -> None:
    assert fires("above 14.8V", volts(15, 15, 14, 15)) == [0, 3]
    assert fires("below 9.6V", volts(9, 9, 12, 12, 9.6)) == [0, 4]


def test_open_and_closed_are_changes_of_contact() -> None:
    assert fires("open", ohms(math.inf, 0.4, 0.4, math.inf, math.inf, 0.4)) == [3]
    assert fires("closed", ohms(math.inf, math.inf, 0.4, math.inf, 0.5)) == [2, 4]


def test_a_condition_concerns_the_channels_of_its_unit_or_name() -> None:
    assert Condition.parse("rise 6V").concerns(1, "feed", V)
    assert not Condition.parse("rise 6V").concerns(1, "feed", OHM)
    assert Condition.parse("rise 6").concerns(1, "feed", OHM)
    assert not Condition.parse("open").concerns(1, "feed", V)
    assert Condition.parse("rise 6V on Feed").concerns(1, "feed", V)
    assert Condition.parse("rise 6V on 2").concerns(2, "feed", V)
    assert not Condition.parse("rise 6V on 2").concerns(1, "feed", V)


def armed(before_s: float, after_s: float, channels: int = 1) -> ArmedCapture:
    capture = ArmedCapture(Condition.parse("rise 6V on 1"), before_s, after_s)
    for number in range(1, channels + 1):
        capture.add_channel(number, f"c{number}", V)
    return capture


def test_a_two_second_prime_is_kept_whole_with_what_came_before() -> None:
    idle, prime, after = [0.0] * 50, [12.4] * 20, [0.0] * 60
    readings = volts(*idle, *prime, *after)
    capture = armed(1.0, 4.0)
    kept: list[Reading] = []
    for reading in readings:  # one at a time, as they come
        keep, _ = capture.take(1, [reading])
        kept += keep.get(1, [])
    assert kept == [r for r in readings if 4.0 <= r.time_s <= 9.0]
    assert capture.fired == 1


def test_delivered_together_or_one_by_one_the_same_is_kept() -> None:
    readings = volts(*([0.0] * 30 + [12.0] * 10) * 4)
    together = armed(0.5, 1.5).take(1, readings)[0][1]
    capture = armed(0.5, 1.5)
    single = [r for reading in readings for r in capture.take(1, [reading])[0].get(1, [])]
    assert together == single
    assert capture.fired == 4


def test_every_channel_is_kept_round_the_trigger_of_one() -> None:
    capture = armed(0.3, 0.2, channels=2)
    kept: dict[int, list[Reading]] = {1: [], 2: []}
    for a, b in zip(volts(*[0.0] * 10, *[12.0] * 10), volts(*range(20), start_s=0.05), strict=True):
        for channel, reading in ((1, a), (2, b)):
            for number, some in capture.take(channel, [reading])[0].items():
                kept[number] += some
    assert [r.time_s for r in kept[1]] == pytest.approx([0.7, 0.8, 0.9, 1.0, 1.1, 1.2])
    assert [r.time_s for r in kept[2]] == pytest.approx([0.75, 0.85, 0.95, 1.05, 1.15])


def test_nothing_is_kept_twice_or_out_of_order_when_windows_meet() -> None:
    readings = volts(0, 0, 12, 0, 12, 0, 0, 12, 0, 0, 0, 0, 0, 0, 12, 0)
    kept = armed(0.4, 0.3).take(1, readings)[0][1]
    times = [r.time_s for r in kept]
    assert times == sorted(set(times))
    assert {0.2, 0.4, 0.7, 1.4} <= set(times)


def test_a_moment_that_a_person_names_is_kept_too() -> None:
    capture = armed(0.5, 0.5)
    readings = volts(*[0.0] * 40)
    assert capture.take(1, readings[:20])[0] == {}
    kept = capture.open_window(2.0)[1] + capture.take(1, readings[20:])[0][1]
    assert kept == [r for r in readings if 1.5 <= r.time_s <= 2.5]
    assert capture.fired == 0


def test_what_comes_true_in_the_window_of_a_marker_is_kept_whole_and_counts() -> None:
    readings = volts(*[0.0] * 30, *[12.4] * 20, *[0.0] * 60)
    capture = armed(1.0, 2.5)
    kept = capture.take(1, readings[:8])[0].get(1, []) + capture.open_window(0.8).get(1, [])  # the key, 2.2 s before it
    for reading in readings[8:]:
        kept += capture.take(1, [reading])[0].get(1, [])
    assert kept == [r for r in readings if r.time_s <= 5.5]
    assert capture.fired == 1


def test_memory_holds_no_more_than_the_time_before() -> None:
    capture = armed(1.0, 1.0)
    capture.take(1, volts(*[0.0] * 10_000))
    rest = capture.rest()[1]
    assert rest[-1].time_s - rest[0].time_s <= 1.0 + 1e-9
    assert len(rest) == 11
    assert capture.rest() == {}


@pytest.mark.parametrize(("before_s", "after_s"), [(-1.0, 5.0), (1.0, -5.0), (0.0, 0.0)])
def test_times_that_keep_nothing_are_refused(before_s: float, after_s: float) -> None:
    with pytest.raises(UsageError):
        ArmedCapture(Condition.parse("open"), before_s, after_s)
