"""Pulses, dropouts, losses, sags and chatter of a supply, as the table of kinds defines them."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from meterlog.events.detect import detect
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, Marker
from meterlog.text.figures import shown

Found = Callable[..., list[Event]]


def kinds(events: list[Event]) -> list[str]:
    return [event.kind for event in events]


def is_covered(event: Event, duration_s: float) -> bool:
    """Tell whether the stated duration and its error cover a true one."""
    assert event.duration_s is not None
    assert event.duration_error_s is not None
    return abs(event.duration_s - duration_s) <= event.duration_error_s


def test_a_prime_is_timed_inside_its_stated_error(found: Found) -> None:
    (event,) = found([(0, 3.07), (12.4, 2.02), (0, 5)])
    assert event.kind == "prime_pulse"
    assert is_covered(event, 2.02)
    assert (event.duration_error_s or 1.0) <= 0.25 + 1e-9
    assert event.level == pytest.approx(12.4, abs=0.02)
    assert event.start_s == pytest.approx(3.07, abs=0.13)


@pytest.mark.parametrize("window", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("offset_s", [0.0, 0.06, 0.13, 0.2])
def test_durations_are_covered_for_sampling_and_averaging_meters(found: Found, window: float, offset_s: float) -> None:
    (event,) = found([(0, 3), (12.4, 2.02), (0, 5)], window=window, offset_s=offset_s)
    assert is_covered(event, 2.02)


@pytest.mark.parametrize(("seconds", "expected"), [(0.2, []), (1.0, ["prime_pulse"]), (9.5, ["prime_pulse"])])
def test_only_half_a_second_to_ten_seconds_are_a_prime(found: Found, seconds: float, expected: list[str]) -> None:
    assert kinds(found([(0, 3), (12, seconds), (0, 5)], interval_s=0.1)) == expected


def test_on_for_longer_than_ten_seconds_then_off_is_a_loss(found: Found) -> None:
    (event,) = found([(0, 3), (12, 14), (0, 8)])
    assert event.kind == "supply_lost"
    assert event.start_s == pytest.approx(17, abs=0.2)
    assert event.duration_s is None
    assert "not back" in event.detail


def test_a_loss_that_comes_back_late_is_timed(found: Found) -> None:
    (event,) = found([(13, 20), (0, 40), (13, 20)])
    assert event.kind == "supply_lost"
    assert is_covered(event, 40)


def test_after_a_long_on_interval_half_a_minute_off_is_a_dropout(found: Found) -> None:
    (event,) = found([(13, 20), (0, 25), (13, 20)])
    assert event.kind == "dropout"
    assert is_covered(event, 25)
    assert event.reference == pytest.approx(13, abs=0.05)


def test_in_a_short_on_interval_more_than_a_second_off_separates_two_pulses(found: Found) -> None:
    assert kinds(found([(0, 3), (12, 3), (0, 1.6), (12, 3), (0, 5)])) == ["prime_pulse", "prime_pulse"]


def test_a_short_interruption_does_not_end_the_prime_around_it(found: Found) -> None:
    prime, drop = found([(0, 3), (12, 2), (0, 0.6), (12, 2), (0, 5)])
    assert (prime.kind, drop.kind) == ("prime_pulse", "dropout")
    assert is_covered(prime, 4.6)
    assert is_covered(drop, 0.6)


def test_a_session_that_begins_on_has_no_prime_in_its_first_seconds(found: Found) -> None:
    assert found([(12, 2), (0, 8)]) == []


def test_a_sag_has_its_residual_and_reference(found: Found) -> None:
    (event,) = found([(13, 15), (9.1, 3), (13, 15)])
    assert event.kind == "sag"
    assert is_covered(event, 3)
    assert event.extreme == pytest.approx(9.1, abs=0.02)
    assert event.reference == pytest.approx(13, abs=0.02)
    assert "cranking" not in event.detail


def test_a_sag_is_named_cranking_by_its_marker_or_by_charging_after_it(found: Found) -> None:
    (by_marker,) = found([(12.5, 15), (9.8, 2), (12.4, 15)], (14.0, "crank"))
    (by_charging,) = found([(12.5, 15), (9.8, 2), (14.2, 15)])
    assert "crank marker" in by_marker.detail
    assert "charging level" in by_charging.detail


def test_on_a_24_v_system_cranking_is_told_by_charging_too(found: Found) -> None:
    (event,) = found([(25.0, 15), (19.6, 2), (28.4, 15)])
    assert "charging level of 28.40 V" in event.detail
    (resting,) = found([(25.0, 15), (19.6, 2), (26.2, 15)])
    assert "charging" not in resting.detail


def test_a_pulse_that_droops_says_by_how_much_and_a_level_one_says_nothing(found: Found) -> None:
    (level,) = found([(0, 3), (12.4, 2), (0, 5)])
    (drooping,) = found([(0, 3), (12.4, 0.7), (11.4, 0.6), (10.4, 0.7), (0, 5)])
    assert "drooping" not in level.detail
    assert "drooping by" in drooping.detail


def test_a_dropout_shorter_than_a_reading_says_so(found: Found) -> None:
    (event,) = found([(13, 15), (0, 0.1), (13, 15)])
    assert event.kind == "sag"
    assert "the true lowest voltage may be lower" in event.detail


def test_loads_below_ten_percent_and_a_charger_that_stops_are_no_sag(found: Found) -> None:
    assert found([(14.2, 20), (13.2, 10), (14.1, 20), (13.4, 3), (14.2, 30), (12.6, 90)]) == []


def test_chatter_swallows_its_dropouts(found: Found) -> None:
    (event,) = found([(13, 15), *[(0, 0.6), (13, 0.7)] * 4, (13, 15)])
    assert event.kind == "chatter"
    assert is_covered(event, 4 * 1.3 - 0.7)
    assert "8 on/off changes" in event.detail
    assert event.level == event.extreme == 0.0
    assert event.reference == pytest.approx(13, abs=0.02)


def test_two_dropouts_far_apart_are_no_chatter(found: Found) -> None:
    assert kinds(found([(13, 15), (0, 0.6), (13, 3), (0, 0.6), (13, 15)])) == ["dropout", "dropout"]


def test_flicker_of_an_unconnected_input_is_nothing(found: Found) -> None:
    assert found([(0.1, 3), (1.2, 0.4), (0.2, 1), (1.9, 0.5), (0.0, 5)] * 4) == []


def test_a_pulsed_supply_reads_low_and_is_a_prime_all_the_same(found: Found) -> None:
    (event,) = found([(0, 3), (5.4, 2), (0, 5)])
    assert event.kind == "prime_pulse"
    assert event.level == pytest.approx(5.4, abs=0.02)


def test_an_idle_level_of_some_volts_is_not_taken_for_on(found: Found) -> None:
    (event,) = found([(4.0, 15), (13, 2), (4.0, 15)])
    assert event.kind == "prime_pulse"


def test_key_on_without_a_pulse_is_a_missing_prime(found: Found) -> None:
    (event,) = found([(0, 20)], (5.0, "key-on"))
    assert event.kind == "missing_prime"
    assert event.start_s == event.end_s == 5.0


@pytest.mark.parametrize(
    "steps",
    [
        pytest.param([(0, 5.5), (12, 2), (0, 10)], id="a pulse within three seconds"),
        pytest.param([(0, 4.6), (12, 2), (0, 10)], id="the key pressed late"),
        pytest.param([(12, 20)], id="on all along"),
        pytest.param([(0, 6)], id="the readings end too soon"),
    ],
)
def test_no_missing_prime(found: Found, steps: list[tuple[float, float]]) -> None:
    assert "missing_prime" not in kinds(found(steps, (5.0, "key-on")))


def test_without_a_marker_nothing_is_missing(found: Found) -> None:
    assert found([(0, 60)]) == []


def test_a_current_has_pulses_and_no_faults(found: Found) -> None:
    assert kinds(found([(0, 3), (5, 2), (0, 5)], quantity=Quantity.DC_CURRENT)) == ["prime_pulse"]
    asleep = [(3.0, 40), (0.4, 60), (0.02, 60), (0.5, 3), (0.02, 60)]
    assert found(asleep, quantity=Quantity.DC_CURRENT) == []


@pytest.mark.parametrize("label", ["drop over the relay", "across the fuse", "a:b"])
def test_a_drop_over_a_part_is_no_supply(found: Found, label: str) -> None:
    assert found([(12, 20), (0, 3), (12, 20)], label=label) == []


def test_reversed_leads_show_the_same(found: Found) -> None:
    (event,) = found([(0, 3), (-12, 2), (0, 5)])
    assert event.kind == "prime_pulse"


def test_a_spike_to_twice_the_level_of_a_weak_prime_is_no_crash_and_no_overshoot_of_thousands(found: Found) -> None:
    """The level lies exactly half way up to the spike."""
    (event,) = found([(0.5, 5), (6.25, 1.25), (12.0, 0.25), (6.25, 1.25), (0.5, 8)], window=0.0)
    assert event.kind == "prime_pulse"
    assert event.level == pytest.approx(6.25)
    assert "overshoot" not in event.detail


def test_a_prime_says_its_overshoot(found: Found) -> None:
    (event,) = found([(0, 3), (13.2, 0.25), (12.0, 3), (0, 5)], window=0.0)
    assert ", 10% overshoot" in event.detail
    (level,) = found([(0, 3), (12.4, 0.25), (12.0, 3), (0, 5)], window=0.0)
    assert "overshoot" not in level.detail


def test_a_spike_does_not_make_the_level_of_a_prime(found: Found) -> None:
    (event,) = found([(0, 3), (12.0, 1.5), (12.9, 0.3), (12.0, 1.2), (0, 5)], window=0.0)
    assert event.level == pytest.approx(12.0)
    assert "at 12.00 V" in event.detail
    assert "overshoot" in event.detail


def test_the_outer_readings_of_a_prime_say_nothing_of_its_lowest(found: Found) -> None:
    (event,) = found([(0, 3.17), (12.0, 1), (11.6, 0.5), (12.0, 0.55), (0, 5)], window=1.0)
    assert event.extreme == pytest.approx(11.6)


def test_of_a_prime_that_two_readings_show_the_higher_one_is_the_level(found: Found) -> None:
    """The other one may be partial."""
    (event,) = found([(0, 3.1), (12.0, 0.8), (0, 5)], interval_s=0.5)
    assert event.level == event.extreme == pytest.approx(12.0)


def test_a_dropout_that_one_reading_shows_may_have_been_deeper(found: Found) -> None:
    (short,) = found([(13, 15), (0, 0.1), (13, 15)], window=0.0, offset_s=0.05)
    (longer,) = found([(13, 15), (0, 0.6), (13, 15)], window=0.0, offset_s=0.05)
    assert (short.kind, longer.kind) == ("dropout", "dropout")
    assert "; perhaps shorter than one reading: the true lowest voltage may be lower" in short.detail
    assert "perhaps shorter" not in longer.detail
    assert "fell to 0.00 V for 0.75 s" in longer.detail


@pytest.mark.parametrize(
    ("marker_s", "name", "cranking"),
    [
        (12.5, "crank", True),
        (16.5, "crank", True),
        (11.0, "crank", False),
        (19.0, "crank", False),
        (15.5, "wiggle", False),
    ],
)
def test_only_a_crank_marker_at_the_sag_or_shortly_before_names_it(
    found: Found, marker_s: float, name: str, cranking: bool
) -> None:
    (event,) = found([(12.5, 15), (9.8, 2), (12.4, 15)], (marker_s, name))
    assert ("cranking" in event.detail) == cranking


def test_chatter_of_dropouts_and_of_half_caught_ones_is_one(found: Found) -> None:
    """The second interruption is so short that the averaging meter shows a sag only."""
    (event,) = found([(13, 15), (0, 0.6), (13, 0.7), (0, 0.1), (13, 0.7), (0, 0.6), (13, 15)], offset_s=0.0)
    assert event.kind == "chatter"
    assert "6 on/off changes in 2.7 s, each less than 1 s apart" in event.detail
    assert event.level == event.extreme == 0.0


def test_sags_alone_are_no_chatter_however_many(found: Found) -> None:
    assert kinds(found([(13, 15), *[(9.0, 0.6), (13, 0.7)] * 4, (13, 15)])) == ["sag"] * 4


def test_chatter_is_timed_to_an_interval(found: Found) -> None:
    for offset_s in (0.0, 0.05, 0.1, 0.15, 0.2):
        (event,) = found([(13, 15), *[(0, 0.6), (13, 0.7)] * 4, (13, 15)], offset_s=offset_s, window=0.0)
        assert is_covered(event, 4 * 1.3 - 0.7)
        assert 0.28 <= (event.duration_error_s or 0.0) <= 0.31


@pytest.mark.parametrize("on_s", [0.5, 3.0])
def test_chatter_takes_in_the_ends_of_an_on_interval_only_where_they_are_as_short(found: Found, on_s: float) -> None:
    """A pulse that chatters from end to end is no prime; two gaps in the middle of one leave the prime."""
    inside = [(12.0, on_s), (0.0, 0.5), (12.0, 0.5), (0.0, 0.5), (12.0, on_s)]
    events = found([(0, 5), *inside, (0, 8)], interval_s=0.1)
    assert kinds(events) == (["chatter"] if on_s < 1 else ["prime_pulse", "chatter"])
    assert ("6 on/off" if on_s < 1 else "4 on/off") in events[-1].detail


@pytest.mark.parametrize(
    ("steps", "missing"),
    [
        pytest.param([(0, 5.5), (12, 0.3), (0, 12)], True, id="a blip is no prime"),
        pytest.param([(0, 8.6), (12, 2), (0, 10)], True, id="a pulse after the three seconds"),
        pytest.param([(0, 3.6), (12, 1), (0, 12)], True, id="a pulse that was over before"),
        pytest.param([(0, 7.6), (12, 2), (0, 10)], False, id="a pulse just inside them"),
        pytest.param([(0, 2), (12, 12), (0, 10)], False, id="on already"),
    ],
)
def test_a_prime_is_missing_unless_a_pulse_began_in_time(
    found: Found, steps: list[tuple[float, float]], missing: bool
) -> None:
    assert ("missing_prime" in kinds(found(steps, (5.0, "key-on"), interval_s=0.1))) == missing


@pytest.mark.parametrize(("gap_s", "missing"), [((5.5, 7.5), False), ((1.0, 3.0), True), ((10.0, 12.0), True)])
def test_readings_missing_after_key_on_leave_the_prime_unknown(
    log: Callable[..., Series], gap_s: tuple[float, float], missing: bool
) -> None:
    whole = log([(0, 20)])
    keep = (whole.time_s < gap_s[0]) | (whole.time_s > gap_s[1])
    series = Series(whole.time_s[keep], whole.value[keep], whole.resolution[keep], whole.flags[keep])
    events = detect(Channel(1, "pump feed", Quantity.DC_VOLTAGE), series, [Marker(1, 5.0, "key-on")])
    assert ("missing_prime" in kinds(events)) == missing


@pytest.mark.parametrize(("level", "kind"), [(9.0, "sag"), (0.0, "dropout")])
@pytest.mark.parametrize("after", ["the end", "a gap"])
def test_an_interruption_is_told_though_one_reading_of_the_return_is_all_there_is(
    log: Callable[..., Series], level: float, kind: str, after: str
) -> None:
    whole = log([(13, 15), (level, 3), (13, 20)], offset_s=0.0)
    last_s = 18.3 if after == "the end" else 22.0
    keep = (whole.time_s < 18.3) | (whole.time_s > 22.0) if after == "a gap" else whole.time_s < last_s
    series = Series(whole.time_s[keep], whole.value[keep], whole.resolution[keep], whole.flags[keep])
    events = detect(Channel(1, "feed", Quantity.DC_VOLTAGE), series)
    assert kinds(events) == ([kind] if after == "the end" else [kind, "gap"])
    assert is_covered(events[0], 3)
    assert events[0].extreme == pytest.approx(level)


def test_a_sag_that_the_readings_end_in_says_that_it_had_not_recovered(found: Found) -> None:
    (event,) = found([(13, 15), (9.1, 5)])
    assert event.kind == "sag"
    assert event.duration_s is None
    assert (event.start_s, event.end_s) == pytest.approx((15, 20), abs=0.3)
    assert (
        "sagged to 9.10 V (70% of 13.00 V) and had not recovered 4.8 s later, when the readings ended" in event.detail
    )
    assert found([(13, 15), (11.3, 5)]) == [], "a slightly lower level may be a new one"


def test_a_lower_level_that_lasts_is_a_new_level_and_a_deep_one_stays_a_sag(found: Found) -> None:
    assert found([(14.2, 20), (12.5, 60), (14.2, 20)]) == [], "charging stopped"
    (low,) = found([(13, 20), (11.2, 60), (13, 20)])
    assert low.kind == "fade", "no battery at rest stands there: once nothing was said of it"
    assert is_covered(low, 60)
    (deep,) = found([(13, 20), (9.0, 60), (13, 20)])
    assert deep.kind == "sag"
    assert is_covered(deep, 60)
    low, after, later = found([(13, 20), (11.2, 60), (5.7, 2), (11.2, 10), (5.5, 2), (11.2, 20)])
    assert (low.kind, after.kind, later.kind) == ("fade", "sag", "dropout")
    assert after.reference == later.reference == pytest.approx(11.2)


def test_a_return_of_a_single_reading_makes_two_dropouts(found: Found) -> None:
    (event,) = found([(13, 15), (0, 0.75), (13, 0.25), (0, 0.75), (13, 15)], window=0.0, offset_s=0.1)
    assert event.kind == "chatter"
    assert "4 on/off changes in 1.8 s" in event.detail


def test_the_reference_follows_a_slow_fall_and_a_sag_is_judged_by_it(found: Found) -> None:
    """A battery that falls from 12.8 to 11.4 V in small steps has no sag; 10.4 V after that is none either."""
    falling = [(12.8 - 0.1 * k, 10.0) for k in range(15)]
    assert found([*falling, (10.4, 3), (11.4, 10)]) == []
    (event,) = found([*falling, (10.0, 3), (11.4, 10)])
    assert event.reference == pytest.approx(11.5, abs=0.05)


def test_the_second_interruption_is_judged_by_the_level_between_them(found: Found) -> None:
    """That it is a new level, and no sag after the dropout, is known after half a minute."""
    first, second = found([(14.0, 20), (0, 3), (12.4, 40), (11.0, 3), (12.4, 20)])
    assert (first.kind, second.kind) == ("dropout", "sag")
    assert first.reference == pytest.approx(14.0)
    assert second.reference == pytest.approx(12.4)


@pytest.mark.parametrize("after_s", [4.0, 8.0, 20.0, 29.0])
@pytest.mark.parametrize("ends_s", [6.0, 40.0])
def test_a_sag_below_the_lower_level_that_a_dropout_came_back_to_is_found(
    found: Found, after_s: float, ends_s: float
) -> None:
    """Also before half a minute has shown that this is a new level, and when the readings end before that."""
    events = found([(12.6, 20), (0, 2), (11.2, after_s), (8.5, 2), (11.2, ends_s)])
    gone, dip = (event for event in events if event.kind != "fade")
    assert (gone.kind, dip.kind) == ("dropout", "sag")
    assert (len(events) == 3) == (ends_s > 30.0), "a low level that has shown that it stays is told too"
    assert is_covered(dip, 2.0)
    assert dip.start_s == pytest.approx(22.0 + after_s, abs=0.2)
    assert (dip.level, dip.reference) == pytest.approx((8.5, 11.2), abs=0.05)


def test_a_duration_is_said_with_the_digits_that_every_other_place_shows(found: Found) -> None:
    prime, drop = found([(0, 3), (12, 2), (0, 0.6), (12, 2), (0, 5)])
    for event in (prime, drop):
        assert event.duration_s is not None
        assert f"for {shown(event.duration_s, 's', event.duration_error_s)}" in event.detail


def test_a_sag_that_deepens_before_it_recovers_is_one_sag(found: Found) -> None:
    (event,) = found([(12.6, 20), (11.2, 8), (8.5, 2), (11.2, 10), (12.6, 30)])
    assert event.kind == "sag"
    assert is_covered(event, 20.0)
    assert event.extreme == pytest.approx(8.5, abs=0.05)


@pytest.mark.parametrize(("off_s", "expected"), [(29.0, "dropout"), (31.5, "supply_lost")])
def test_thirty_seconds_off_divide_a_dropout_from_a_loss(found: Found, off_s: float, expected: str) -> None:
    (event,) = found([(13, 20), (0, off_s), (13, 20)])
    assert event.kind == expected
    assert is_covered(event, off_s)
    if expected == "supply_lost":
        assert "off for 3" in event.detail
        assert "longer than a dropout" in event.detail
        assert event.level == event.extreme == 0.0


def test_a_loss_says_how_long_it_had_been_on(found: Found) -> None:
    (event,) = found([(0, 3), (12, 14), (0, 8)])
    assert "off after 14 s on, and not back in the 8 s after" in event.detail
    assert event.end_s == pytest.approx(24.85), "the last reading"
    assert event.reference == pytest.approx(12.0)
    assert event.level == event.extreme == 0.0


def test_on_before_and_after_a_gap_is_one_on_interval(log: Callable[..., Series]) -> None:
    """Off after it is then a loss; where the supply was off after the gap, it fell some time in the gap."""
    for steps, expected in (
        ([(0, 3), (13, 20), (0, 40)], ["gap", "supply_lost"]),
        ([(0, 3), (13, 7), (0, 40)], ["prime_pulse", "gap"]),
    ):
        whole = log(steps)
        keep = (whole.time_s < 8.0) | (whole.time_s > 12.0)
        series = Series(whole.time_s[keep], whole.value[keep], whole.resolution[keep], whole.flags[keep])
        assert kinds(detect(Channel(1, "feed", Quantity.DC_VOLTAGE), series)) == expected


def test_twice_the_level_was_idle_before(found: Found) -> None:
    """3 V on an unconnected input is taken for 'on' until 13 V come; 'on' begins then."""
    (event,) = found([(0.2, 5), (3.0, 10), (13.0, 3), (3.0, 10)])
    assert event.kind == "prime_pulse"
    assert is_covered(event, 3)
    assert event.level == pytest.approx(13.0, abs=0.02)


def test_currents_are_on_from_two_amperes(found: Found) -> None:
    assert found([(0, 3), (1.9, 2), (0, 5)], quantity=Quantity.DC_CURRENT) == []
    assert kinds(found([(0, 3), (2.2, 2), (0, 5)], quantity=Quantity.DC_CURRENT)) == ["prime_pulse"]


def test_a_supply_is_on_from_two_and_a_half_volts(found: Found) -> None:
    assert found([(0, 3), (2.4, 2), (0, 5)]) == []
    assert kinds(found([(0, 3), (2.7, 2), (0, 5)])) == ["prime_pulse"]


@pytest.mark.parametrize(("late_s", "missing"), [(0.8, False), (1.4, True)])
def test_a_key_pressed_up_to_a_second_late_is_near_enough(found: Found, late_s: float, missing: bool) -> None:
    events = found([(0, 5.0 - late_s), (12, 0.7), (0, 12)], (5.0, "key-on"), interval_s=0.1)
    assert ("missing_prime" in kinds(events)) == missing


def test_after_half_a_minute_a_lower_level_is_the_new_reference(found: Found) -> None:
    """9.9 V is a sag below 11.2 V, which has lasted for 33 s."""
    low, event = found([(13, 20), (11.2, 33), (9.9, 3), (11.2, 20)])
    assert (low.kind, event.kind) == ("fade", "sag")
    assert event.reference == pytest.approx(11.2)
    assert is_covered(event, 3)
