"""A figure is shown by one rule, everywhere, and what is shown can be typed again."""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from meterlog.circuit.words import figure
from meterlog.cli.terminal.readout import readout
from meterlog.reading import Quantity, Reading
from meterlog.text.figures import displayed, percent, seconds, shown, span
from meterlog.text.typed import typed_amount
from meterlog.text.units import SPELT_PREFIXES, find_unit
from meterlog_drivers.display.unit_words import UNIT_WORDS

UNITS = ("V", "A", "ohm", "Hz", "F", "%", "degC")
OF_A_VEHICLE = st.floats(1e-6, 1e7) | st.floats(-1e5, -1e-6)
COUNTS = st.sampled_from([m * 10.0**e for m in (1, 2, 5) for e in range(-6, 3)])


@pytest.mark.parametrize(
    ("value", "unit", "said"),
    [
        (0.32, "ohm", "0.32 ohm"),
        (0.05, "ohm", "50 mohm"),
        (-0.01, "V", "-10 mV"),
        (0.1, "V", "0.1 V"),
        (12.34, "V", "12.3 V"),
        (999.6, "ohm", "1 kohm"),
        (0.00003, "A", "30 uA"),
        (4.7e-7, "F", "0.47 uF"),
        (1500.0, "Hz", "1.5 kHz"),
        (13800.0, "V", "13800 V"),
        (-0.0, "V", "0 V"),
        (0.0, "ohm", "0 ohm"),
    ],
)
def test_a_value_of_unknown_exactness(value: float, unit: str, said: str) -> None:
    assert shown(value, unit) == figure(value, unit) == said


@pytest.mark.parametrize(
    ("value", "unit", "resolution", "said"),
    [
        (0.32, "ohm", 0.001, "0.320 ohm"),
        (-0.01, "V", 0.01, "-0.01 V"),
        (-0.01, "V", 0.001, "-0.010 V"),
        (-0.01, "V", 0.0001, "-10.0 mV"),
        (0.0, "V", 0.0001, "0.0 mV"),
        (2e-7, "A", 1e-7, "0.2 uA"),
        (math.nan, "V", 0.01, "- V"),
    ],
)
def test_a_display_keeps_its_decimals(value: float, unit: str, resolution: float, said: str) -> None:
    assert displayed(value, unit, resolution) == said


def test_the_terminal_and_the_page_show_a_reading_alike() -> None:
    assert readout(Reading(0, -0.01, Quantity.DC_VOLTAGE, 0.01)) == displayed(-0.01, "V", 0.01)


def half_a_unit(number: str) -> float:
    """Half of the last digit shown."""
    return 0.5 * 10.0 ** -len(number.partition(".")[2])


@given(OF_A_VEHICLE, st.sampled_from(UNITS), COUNTS)
@example(0.09999, "V", 0.001)
@example(999.96, "ohm", 0.1)
def test_what_a_display_shows_is_read_as_the_same_value(value: float, unit: str, count: float) -> None:
    said = displayed(value, unit, count)
    read, base = typed_amount(said)
    number, _, word = said.partition(" ")
    scale = 10.0 ** (find_unit(word) or pytest.fail(f"{word} is not a unit")).exponent
    assert base == unit
    assert abs(read - value) <= half_a_unit(number) * scale * (1 + 1e-9) + 1e-12 * abs(value)
    assert half_a_unit(number) * scale <= max(count, scale * 0.5) * 1.001, "no decimal of the display is lost"


@given(OF_A_VEHICLE, st.sampled_from(UNITS), st.integers(2, 5))
def test_a_value_of_unknown_exactness_is_read_to_its_digits(value: float, unit: str, digits: int) -> None:
    read, base = typed_amount(shown(value, unit, digits=digits))
    assert base == unit
    assert math.isclose(read, value, rel_tol=0.5001 * 10.0 ** (1 - digits), abs_tol=1e-15)


@given(OF_A_VEHICLE, st.sampled_from(UNITS), st.floats(1e-6, 1e4))
def test_the_band_shown_holds_the_band_meant(value: float, unit: str, error: float) -> None:
    said, _, band = shown(value, unit, error).partition(" +-")
    read, base = typed_amount(said)
    number, _, word = said.partition(" ")
    scale = 10.0 ** (find_unit(word) or pytest.fail(f"{word} is not a unit")).exponent
    slack = half_a_unit(number) * scale * (1 + 1e-9) + 1e-9 * error
    assert base == unit
    assert abs(read - value) <= slack + 1e-12 * abs(value)
    assert float(band) * scale >= error * (1 - 1e-6)


@pytest.mark.parametrize(("low", "high", "said"), [(0.4, 1.9, "0.4 to 1.9 ohm"), (320, 1800, "320 ohm to 1.8 kohm")])
def test_two_figures_share_their_unit(low: float, high: float, said: str) -> None:
    assert span(shown(low, "ohm"), shown(high, "ohm")) == said


def test_a_unit_that_a_meter_sends_means_the_same_when_typed() -> None:
    for word, sent in UNIT_WORDS.items():
        typed = find_unit(word, sent.quantity)
        assert typed is not None, word
        base = "degF" if sent.fahrenheit else sent.quantity.unit
        assert (typed.exponent, typed.base) == (sent.exponent, base), word


@pytest.mark.parametrize("unit", ["V", "A", "ohm", "Hz", "F"])
@pytest.mark.parametrize("prefix", sorted(SPELT_PREFIXES))
def test_every_prefix_round_trips_or_is_asked(unit: str, prefix: str) -> None:
    if prefix == "M" and unit in ("V", "A"):
        return  # asked: test_typed holds that
    found = find_unit(prefix + unit)
    assert found is not None
    assert (found.base, found.exponent) == (unit, SPELT_PREFIXES[prefix])


@pytest.mark.parametrize(("length_s", "text"), [
    (0.0, "0 s"),
    (0.025, "0.025 s"),
    (0.34, "0.34 s"),
    (9.996, "10.00 s"),
    (95.4, "95 s"),
    (320.0, "5 min"),
    (3570.0, "1 h 0 min"),
    (5400.0, "1 h 30 min"),
    (334_800.0, "3 d 21 h"),
])  # fmt: skip
def test_a_length_of_time(length_s: float, text: str) -> None:
    """320 s was shown as 3.2e+02 s."""
    assert seconds(length_s) == text


@pytest.mark.parametrize(("p", "said"), [(0.0, "0 %"), (0.814, "81 %"), (0.99, "99 %"), (1.0, "over 99 %")])
def test_a_chance_is_never_told_as_certain(p: float, said: str) -> None:
    assert percent(p) == said
