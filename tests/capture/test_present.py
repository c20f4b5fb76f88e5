"""Checks that what is so now is told within a display of its beginning, in the same words on the page and in the
terminal."""

from __future__ import annotations

import math

import pytest

from meterlog.capture.present import Present, link_now, silent_after_s, state_now
from meterlog.events.live import LiveDetector
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import Channel, Marker

STEP_S = 0.3
UP = link_now(0.1, STEP_S)


def told(
    values: list[float],
    quantity: Quantity = Quantity.DC_VOLTAGE,
    label: str = "pump feed",
    markers: tuple[Marker, ...] = (),
    resolution: float = 0.01,
) -> list[Present]:
    """Return what is said after each reading, a display apart."""
    detector, said = LiveDetector(Channel(1, label, quantity)), []
    for marker in markers:
        detector.marker(marker)
    for place, value in enumerate(values):
        reading = Reading(place * STEP_S, value, quantity, resolution, Flag.NONE)
        detector.feed([reading])
        said.append(state_now(reading, detector.standing, reading.time_s, UP))
    return said


def long_on(volts: float = 12.1) -> list[float]:
    """On for longer than a prime, so that its end is a loss."""
    return [0.0] * 5 + [volts] * 60


def test_a_supply_that_is_lost_is_told_at_the_first_reading_without_it() -> None:
    said = told([*long_on(), *[-0.01] * 12])
    assert (said[64].sort, said[64].words) == ("calm", "on at 12.10 V")
    assert said[65].sort == "trouble"
    assert said[65].words == "OFF, -0.01 V; it stood at 12.10 V"
    assert said[76].words == "OFF for 3 s, -0.01 V; it stood at 12.10 V"
    assert said[76].since == said[65].since, "one state is sounded once"


def test_it_stays_told_for_as_long_as_it_is_so() -> None:
    said = told([*long_on(), *[0.0] * 300])
    assert all(one.sort == "trouble" for one in said[65:])
    assert len({one.since for one in said[65:]}) == 1, "it is no second state when the event is decided after 30 s"
    assert len({one.since for one in said[5:65]}) == 1
    assert said[-1].word == "OFF for 89 s"


def test_the_end_of_a_prime_is_no_trouble() -> None:
    said = told([0.0] * 5 + [12.0] * 7 + [0.0] * 60)
    assert said[8].words == "on at 12.00 V"
    assert {one.sort for one in said} == {"calm"}
    assert said[-1].word.startswith("off for")


def test_what_was_switched_off_is_no_trouble() -> None:
    said = told([*long_on(), *[0.0] * 20], markers=(Marker(1, 65 * STEP_S, "key-off", ""),))
    assert said[-1].sort == "calm"


def test_a_sag_is_told_while_it_lasts() -> None:
    said = told([*long_on(12.4), *[9.8] * 8, *[12.4] * 8])
    assert said[65].sort == "trouble"
    assert said[71].words == "SAGGING for 1 s, 9.80 V; it stood at 12.40 V"
    assert said[-1].words == "on at 12.40 V"


def test_too_high_is_told_beside_on() -> None:
    said = told([*long_on(13.9), *[16.2] * 10])
    assert said[-1].word.startswith("TOO HIGH for ")
    assert said[-1].text == "16.20 V; at most 15.00 V is right"


def test_ohms_that_open_are_told_and_leads_in_the_air_are_something_else() -> None:
    said = told([math.inf] * 4 + [0.4] * 12 + [math.inf] * 8, Quantity.RESISTANCE, "feed wire", resolution=0.1)
    assert (said[3].sort, said[3].word) == ("doubt", "probe open")
    assert said[15].words == "closed, 0.4 ohm"
    assert said[16].sort == "trouble"
    assert said[23].word == "OPEN for 2 s"


def test_a_current_that_ceases_is_told() -> None:
    said = told([0.0] * 5 + [4.2] * 60 + [0.0] * 6, Quantity.DC_CURRENT, "pump current")
    assert said[60].words == "on at 4.20 A"
    assert said[-1].sort == "trouble"
    assert said[-1].word.startswith("NO CURRENT for ")


def test_a_control_signal_goes_off_without_trouble() -> None:
    assert {one.sort for one in told([*long_on(), *[0.0] * 20], label="relay coil control")} == {"calm"}


@pytest.mark.parametrize(
    ("flags", "value", "word", "text"),
    [
        (Flag.HOLD, 12.1, "HOLD", "the display stands still at 12.10 V"),
        (Flag.OVERLOAD, math.inf, "overload", "beyond the meter's range, or a probe is open"),
    ],
)
def test_a_reading_that_tells_nothing_of_the_circuit_is_a_doubt(
    flags: Flag, value: float, word: str, text: str
) -> None:
    last = Reading(1.0, value, Quantity.DC_VOLTAGE, 0.01, flags)
    assert state_now(last, None, 1.0, UP) == Present("doubt", word, text, word.lower())


def test_a_weak_battery_of_the_meter_is_said_beside_the_state() -> None:
    last = Reading(1.0, 12.1, Quantity.DC_VOLTAGE, 0.01, Flag.LOW_BATTERY)
    assert state_now(last, None, 1.0, UP).words == "12.10 V; the meter's battery is low"


def test_a_dead_link_is_told_after_four_intervals_and_what_was_read_is_no_longer_so() -> None:
    assert silent_after_s(0.1) == 2.0
    assert silent_after_s(1.0) == 4.0
    assert link_now(1.9, 0.3).sort == "calm"
    link = link_now(5.2, 0.3, up=False, cause="the port is gone")
    assert (link.sort, link.words) == ("lost", "no link for 5 s, the port is gone")
    state = state_now(Reading(10.0, 12.1, Quantity.DC_VOLTAGE, 0.01, Flag.NONE), None, 15.2, link)
    assert (state.sort, state.words) == ("lost", "not known, 12.10 V was read 5 s ago")
    assert link_now(None, None).sort == "calm"
    assert state_now(None, None, 0.0, link_now(None, None)).words == "no reading yet"
