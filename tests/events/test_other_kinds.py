"""Overvoltage, resistance, the link and the meter: the kinds that are not about a supply going on and off."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.events.settings import DetectionSettings
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import ARMED, CAPTURE, Channel, Marker

Found = Callable[..., list[Event]]
Log = Callable[..., Series]
SUPPLY = Channel(1, "feed", Quantity.DC_VOLTAGE)


def is_covered(event: Event, duration_s: float) -> bool:
    """Tell whether the stated duration and its error cover a true one."""
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    return abs(event.duration_s - duration_s) <= event.duration_error_s


def without(series: Series, start_s: float, end_s: float) -> Series:
    keep = (series.time_s < start_s) | (series.time_s > end_s)
    return Series(series.time_s[keep], series.value[keep], series.resolution[keep], series.flags[keep])


def test_overvoltage_on_a_12_v_system(found: Found) -> None:
    (event,) = found([(14, 20), (15.6, 5), (14, 20)])
    assert event.kind == "overvoltage"
    assert is_covered(event, 5)
    assert event.extreme == pytest.approx(15.6, abs=0.02)


def test_a_24_v_system_is_told_by_its_readings(found: Found) -> None:
    assert found([(0, 5), (28, 30)]) == []
    (event,) = found([(28, 30), (30.9, 5), (28, 30)])
    assert event.kind == "overvoltage"


def test_a_stated_system_voltage_is_believed(found: Found) -> None:
    settings = DetectionSettings(system_v=12.0)
    assert [e.kind for e in found([(0, 5), (28, 20)], settings=settings)] == ["overvoltage"]


def test_overvoltage_does_not_move_the_reference_of_a_sag(found: Found) -> None:
    assert [e.kind for e in found([(14, 20), (16.5, 20), (13.8, 20)])] == ["overvoltage"]


def test_an_open_circuit_after_contact(found: Found) -> None:
    (event,) = found([(np.inf, 3), (0.4, 8), (np.inf, 2), (0.4, 8)], quantity=Quantity.RESISTANCE, window=0.0)
    assert event.kind == "open_circuit"
    assert is_covered(event, 2)
    assert (event.start_s, event.end_s) == pytest.approx((11, 13), abs=0.25)
    assert event.reference == pytest.approx(0.4)


def test_a_finite_reading_a_thousand_times_the_steady_one_is_open_and_a_lower_one_is_not(found: Found) -> None:
    """A meter that ranges up shows some large number for an open circuit; by default open is 1000 times and more."""
    (event, step) = found([(500.0, 8), (1e6, 3), (2e5, 8)], quantity=Quantity.RESISTANCE, window=0.0)
    assert (event.kind, step.kind) == ("open_circuit", "resistance_step")
    assert is_covered(event, 3)
    lower = found([(500.0, 8), (2e5, 3), (500.0, 8)], quantity=Quantity.RESISTANCE, window=0.0)
    assert "open_circuit" not in [e.kind for e in lower]


def test_open_to_the_end_says_so_and_has_no_duration(found: Found) -> None:
    (event,) = found([(0.4, 8), (np.inf, 4)], quantity=Quantity.CONTINUITY, window=0.0)
    assert event.duration_s is None
    assert "still open at the last reading" in event.detail


def test_open_leads_before_contact_are_nothing(found: Found) -> None:
    assert found([(np.inf, 10), (0.4, 8)], quantity=Quantity.RESISTANCE, window=0.0) == []


def test_a_resistance_step(found: Found) -> None:
    (event,) = found([(2.0, 8), (3.1, 8)], quantity=Quantity.RESISTANCE)
    assert event.kind == "resistance_step"
    assert event.reference == pytest.approx(2.0, abs=0.02)
    assert event.level == pytest.approx(3.1, abs=0.02)
    assert event.start_s - 0.25 <= 8 <= event.end_s
    assert event.end_s - event.start_s <= 0.6
    assert "from 2 to 3.1 ohm (+55%)" in event.detail


def test_small_changes_and_passing_touches_are_no_step(found: Found) -> None:
    steps = [(2.0, 8), (2.2, 8), (6.0, 0.3), (2.2, 8)]
    assert found(steps, quantity=Quantity.RESISTANCE) == []


def test_a_gap_is_the_link_and_never_a_dropout(log: Log) -> None:
    events = detect(SUPPLY, without(log([(13, 40)]), 15.0, 21.0))
    assert [e.kind for e in events] == ["gap"]
    assert is_covered(events[0], 6.0)


def test_what_an_armed_capture_left_out_is_no_gap(log: Log) -> None:
    series = without(log([(13, 60)]), 15.0, 40.0)
    armed = Marker(1, 15.2, ARMED, by=CAPTURE)
    assert detect(SUPPLY, series, [armed]) == []
    assert [e.kind for e in detect(SUPPLY, series, [replace(armed, by="person")])] == ["gap"]


def test_a_fall_within_a_gap_counts_once_it_is_read_and_lies_somewhere_in_the_gap(log: Log) -> None:
    gap, lost = detect(SUPPLY, without(log([(13, 20), (0, 20)]), 18.0, 22.0))
    assert (gap.kind, lost.kind) == ("gap", "supply_lost")
    assert gap.start_s <= lost.start_s <= gap.end_s


def test_a_rise_within_a_long_gap_begins_no_prime(log: Log) -> None:
    hidden_rise = without(log([(0, 10), (13, 11), (0, 5)]), 5.0, 20.0)
    assert "prime_pulse" not in [e.kind for e in detect(SUPPLY, hidden_rise)]


@pytest.mark.parametrize(("start_s", "end_s"), [(20.2, 26.0), (15.0, 20.2), (20.2, 80.0)])
def test_one_reading_of_0_v_beside_a_gap_is_an_event(log: Log, start_s: float, end_s: float) -> None:
    series = without(log([(13, 20), (0, 0.5), (13, 80)], window=0.0), start_s, end_s)
    assert np.count_nonzero(series.value < 1.0) == 1
    assert {event.kind for event in detect(SUPPLY, series)} in ({"dropout", "gap"}, {"supply_lost", "gap"})


def test_one_reading_of_0_v_between_two_gaps_is_a_dropout(log: Log) -> None:
    series = without(without(log([(13, 20), (0, 0.5), (13, 40)], window=0.0), 12.0, 20.3), 20.4, 27.0)
    assert np.count_nonzero(series.value < 1.0) == 1
    (event,) = [event for event in detect(SUPPLY, series) if event.kind == "dropout"]
    assert is_covered(event, 0.5)
    assert event.extreme == 0.0


def test_lost_single_readings_are_no_gap(log: Log) -> None:
    series = log([(13, 40)])
    assert detect(SUPPLY, without(series, 15.0, 15.6)) == []


def test_what_a_held_display_shows_is_not_used(log: Log) -> None:
    series = log([(13, 15), (0, 3), (13, 15)])
    held = (series.time_s > 14) & (series.time_s < 20)
    flags = np.where(held, np.uint16(Flag.HOLD), np.uint16(0)).astype(np.uint16)
    events = detect(SUPPLY, replace(series, flags=flags))
    assert [e.kind for e in events] == ["held_display"]
    assert events[0].start_s == pytest.approx(14, abs=0.3)
    assert events[0].end_s == pytest.approx(20, abs=0.3)


def test_a_low_meter_battery_is_told_and_its_readings_are_used(log: Log) -> None:
    series = log([(13, 15), (0, 3), (13, 15)])
    flags = np.where(series.time_s > 10, np.uint16(Flag.LOW_BATTERY), np.uint16(0)).astype(np.uint16)
    assert [e.kind for e in detect(SUPPLY, replace(series, flags=flags))] == ["meter_battery_low", "dropout"]


def test_a_range_change_is_told_and_its_overload_is_no_event(log: Log) -> None:
    series = log([(2.0, 10), (12, 30)], offset_s=0.05)
    fine = series.value < 4
    value = series.value.copy()
    value[np.flatnonzero(~fine)[:2]] = np.inf
    resolution = np.where(fine, np.float32(0.001), np.float32(0.01)).astype(np.float32)
    events = detect(SUPPLY, replace(series, value=value, resolution=resolution))
    assert [e.kind for e in events] == ["range_change"]


def test_one_reading_and_no_reading_give_nothing(log: Log) -> None:
    series = log([(13, 5)])
    assert detect(SUPPLY, series[:0]) == []
    assert detect(SUPPLY, series[:1]) == []


@pytest.mark.parametrize("change", [{"off_share": 1.2}, {"gap_intervals": -1.0}, {"prime_shortest_s": 11.0}])
def test_settings_that_make_no_sense_are_refused(change: dict[str, float]) -> None:
    with pytest.raises(ValueError, match=r"must"):
        DetectionSettings(**change)  # type: ignore[arg-type]


@pytest.mark.parametrize(("declared_s", "kinds"), [(None, []), (2.0, []), (0.5, ["gap"])])
def test_before_four_readings_the_declared_interval_says_what_is_a_gap(
    declared_s: float | None, kinds: list[str]
) -> None:
    time_s = np.array([0.0, 0.5, 5.5, 6.0])
    series = Series(time_s, np.full(4, 13.0), np.full(4, 0.01, np.float32), np.zeros(4, np.uint16))
    events = detect(Channel(1, "feed", Quantity.DC_VOLTAGE, interval_s=declared_s), series)
    assert [e.kind for e in events] == kinds
    for event in events:
        assert (event.start_s, event.end_s, event.duration_s, event.duration_error_s) == (0.5, 5.5, 5.0, None)


def test_the_error_of_a_gap_is_little_more_than_the_interval(log: Log) -> None:
    """Two ends, each known to an interval."""
    (event,) = detect(SUPPLY, without(log([(13, 40)]), 15.0, 21.0))
    assert event.duration_error_s is not None
    assert 0.25 <= event.duration_error_s <= 0.3
    assert "no readings for 6.3 s" in event.detail


@pytest.mark.parametrize(("lost", "kinds"), [(3, []), (4, ["gap"])])
def test_a_gap_is_longer_than_four_intervals(log: Log, lost: int, kinds: list[str]) -> None:
    series = without(log([(13, 40)], interval_s=1.0), 15.0, 14.5 + lost)
    assert [e.kind for e in detect(SUPPLY, series)] == kinds


@pytest.mark.parametrize("window", [0.0, 1.0])
def test_how_long_a_circuit_was_open_is_no_further_off_than_an_interval(log: Log, window: float) -> None:
    """An averaging meter shows overload as soon as a part of its window was open; a sampling one does not."""
    off = []
    for offset_s in np.arange(0.0, 0.25, 0.02):
        series = log([(0.4, 6), (1e12, 2), (0.4, 6)], window=window, offset_s=offset_s)
        series = replace(series, value=np.where(series.value > 1e6, np.inf, series.value))
        (event,) = detect(Channel(1, "wire", Quantity.RESISTANCE), series)
        assert event.duration_s is not None
        assert event.duration_error_s is not None
        assert abs(event.duration_s - 2) <= event.duration_error_s <= 1.2 * 0.25 + 1e-6
        off.append(event.duration_s - 2)
    assert abs(np.mean(off)) <= 0.13


def test_a_half_open_reading_tells_an_averaging_meter_and_shortens_the_doubt(log: Log) -> None:
    """40 kohm between 400 ohm and open: the window of that reading was half open."""
    series = log([(400.0, 6), (np.inf, 2), (400.0, 6)], window=0.0)
    value = series.value.copy()
    value[np.flatnonzero(np.isinf(value))[0] - 1] = 4e4
    first, half_open = (
        detect(Channel(1, "w", Quantity.RESISTANCE), replace(series, value=v))[0] for v in (series.value, value)
    )
    assert first.duration_error_s == pytest.approx(0.3)
    assert half_open.duration_error_s == pytest.approx(0.25)
    assert half_open.start_s == pytest.approx(first.start_s - 0.25)


def test_overvoltage_ends_one_percent_below_its_limit_and_two_are_two(found: Found) -> None:
    (one,) = found([(14, 20), (15.6, 3), (14.9, 1), (15.6, 3), (14, 20)])
    assert is_covered(one, 7)
    first, second = found([(14, 20), (15.6, 3), (14.7, 1), (15.6, 3), (14, 20)])
    assert is_covered(first, 3)
    assert is_covered(second, 3)
    assert first.reference == 15.0
    assert "up to 15.60 V, above 15 V" in first.detail


def test_overvoltage_to_the_end_has_no_duration(found: Found) -> None:
    (event,) = found([(14, 20), (15.6, 5)])
    assert event.duration_s is None
    assert event.end_s == pytest.approx(25, abs=0.25)


def test_noise_that_grazes_the_limit_is_no_overvoltage(log: Log) -> None:
    rng = np.random.default_rng(6)
    for level, kinds in ((14.93, []), (15.6, ["overvoltage"])):
        series = log([(14.5, 20), (level, 20), (14.5, 20)])
        value = np.round(series.value + rng.normal(0.0, 0.05, len(series)), 2)
        assert [e.kind for e in detect(SUPPLY, replace(series, value=value))] == kinds


def test_a_finer_count_of_the_same_range_is_no_range_change(log: Log) -> None:
    series = log([(2.0, 20)])
    resolution = np.where(series.time_s < 10, np.float32(0.001), np.float32(0.002)).astype(np.float32)
    assert detect(SUPPLY, replace(series, resolution=resolution)) == []


def test_a_range_change_spans_from_one_number_to_the_next(log: Log) -> None:
    series = log([(2.0, 20)])
    value, change = series.value.copy(), int(np.flatnonzero(series.time_s > 10)[0])
    value[change : change + 3] = np.inf
    resolution = np.where(np.arange(len(series)) < change, np.float32(0.001), np.float32(0.01)).astype(np.float32)
    (event,) = detect(SUPPLY, replace(series, value=value, resolution=resolution))
    assert event.kind == "range_change"
    assert (event.start_s, event.end_s) == (series.time_s[change - 1], series.time_s[change + 3])
    assert event.duration_s == pytest.approx(1.0)
    assert "one count 0.001, then 0.01" in event.detail


def test_a_blinking_flag_is_one_event_and_one_that_comes_back_later_is_another(log: Log) -> None:
    series = log([(13, 60)])
    since = series.time_s - 10.0
    blinking = (since >= 0) & (since < 12) & (since % 2.0 < 0.5)
    for later_s, ends in ((30.0, [20.3, 31.0]), (None, [20.3])):
        lit = blinking | (np.zeros_like(blinking) if later_s is None else (abs(series.time_s - later_s - 0.5) <= 0.5))
        flags = np.where(lit, np.uint16(Flag.LOW_BATTERY), np.uint16(0)).astype(np.uint16)
        events = detect(SUPPLY, replace(series, flags=flags))
        assert [e.kind for e in events] == ["meter_battery_low"] * len(ends)
        assert [e.end_s for e in events] == pytest.approx(ends, abs=0.26)
        assert events[0].start_s == pytest.approx(10, abs=0.26)
        assert events[0].duration_s == pytest.approx(events[0].end_s - events[0].start_s)


def test_on_a_6_v_system_seven_and_a_half_volts_are_the_limit(found: Found) -> None:
    settings = DetectionSettings(system_v=6.0)
    assert found([(6.9, 20), (7.4, 5), (6.9, 20)], settings=settings) == []
    (event,) = found([(6.9, 20), (7.8, 5), (6.9, 20)], settings=settings)
    assert (event.kind, event.reference) == ("overvoltage", 7.5)


def test_the_first_two_readings_may_have_a_gap_between_them() -> None:
    time_s = np.array([0.0, 5.0, 5.5, 6.0])
    series = Series(time_s, np.full(4, 13.0), np.full(4, 0.01, np.float32), np.zeros(4, np.uint16))
    (event,) = detect(Channel(1, "feed", Quantity.DC_VOLTAGE, interval_s=0.5), series)
    assert (event.kind, event.start_s, event.end_s) == ("gap", 0.0, 5.0)


def test_json_has_no_infinities() -> None:
    event = Event("open_circuit", 1, 2.0, 3.0, level=np.inf, extreme=-np.inf, reference=0.4)
    values = event.as_json()
    assert values["level"] is values["extreme"] is None
    assert (values["kind"], values["reference"], values["end_s"]) == ("open_circuit", 0.4, 3.0)
