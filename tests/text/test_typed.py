"""A number means the same wherever a person types it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from meterlog.address import Address
from meterlog.capture.meters import meter_setup
from meterlog.circuit.readings.typed_answers import typed_value
from meterlog.cli.main import main
from meterlog.condition import Condition
from meterlog.errors import UsageError
from meterlog.reading import Accuracy
from meterlog.text.times import span
from meterlog.text.typed import typed_amount, typed_number


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("6V", 6.0, "V"),
        ("6,5 V", 6.5, "V"),
        ("500mA", 0.5, "A"),
        ("-3.2 mV", -0.0032, "V"),
        ("2,2 kohm", 2200.0, "ohm"),
        ("2.2 kΩ", 2200.0, "ohm"),
        (".5 A", 0.5, "A"),
        ("6", 6.0, ""),
        ("1 Mohm", 1e6, "ohm"),
        ("6 megaV", 6e6, "V"),
        ("40 degC", 40.0, "degC"),
        ("\u22120.5 V", -0.5, "V"),
        ("5 MHz", 5e6, "Hz"),
        ("5 khz", 5000.0, "Hz"),
    ],
)
def test_it_is_read(text: str, value: float, unit: str) -> None:
    assert typed_amount(text) == (value, unit)


@pytest.mark.parametrize("text", ["6 MV", "500 MA"])
def test_milli_or_mega_is_asked_wherever_it_is_typed(text: str) -> None:
    for read in (typed_amount, lambda t: Condition.parse(f"rise {t}")):
        with pytest.raises(UsageError, match="milli or mega"):
            read(text)
    with pytest.raises(UsageError, match="milli or mega"):
        typed_value(text, "voltage" if text.endswith("V") else "current")


def test_small_letters_do_not_make_a_radio_frequency_a_slow_one() -> None:
    with pytest.raises(UsageError, match="write mHz for milli, megaHz for mega"):
        typed_amount("5 mhz")


@pytest.mark.parametrize("text", ["1,234", "12,500 V"])
def test_a_thousand_or_a_decimal_comma_is_asked(text: str) -> None:
    with pytest.raises(UsageError, match="decimal comma or a thousand"):
        typed_amount(text)


@pytest.mark.parametrize("text", ["", "V", "6 W", "6 7 V", "1.2.3 V", "six volts", "6 degF"])
def test_what_is_none_is_said(text: str) -> None:
    with pytest.raises(UsageError):
        typed_amount(text)


@given(st.floats(-1e6, 1e6), st.integers(0, 2))
def test_a_decimal_comma_means_what_a_point_means(value: float, decimals: int) -> None:
    text = f"{value:.{decimals}f}"
    assert typed_number(text.replace(".", ",")) == typed_number(text) == float(text)


def test_the_decimal_comma_is_read_in_spans_and_addresses_too() -> None:
    assert span("1,5h") == 5400.0
    assert Address.parse("text:x?interval_s=0,4").number("interval_s", 1.0) == 0.4
    assert meter_setup("sim:healthy-prime?accuracy=0,5pct%2B2").accuracy == Accuracy(0.005, 2.0)


def test_numeric_options_of_commands_take_a_decimal_comma(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["mark", "absent.sqlite", "crank", "--at", "65,8"]) == 2
    assert "there is no file" in capsys.readouterr().err, "the number was read, the file is what is missing"
