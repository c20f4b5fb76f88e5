"""A reading is shown as the meter shows it."""

from __future__ import annotations

import math

import pytest

from meterlog.cli.terminal.readout import readout
from meterlog.reading import Flag, Quantity, Reading
from meterlog.text.sparkline import sparkline

V, OHM = Quantity.DC_VOLTAGE, Quantity.RESISTANCE


@pytest.mark.parametrize(
    ("reading", "shown"),
    [
        (Reading(0, 12.4, V, 0.01), "12.40 V"),
        (Reading(0, 0.0, V, 0.01), "0.00 V"),
        (Reading(0, 0.0, V, 0.001), "0.000 V"),  # a 4 V range: volts also near 0
        (Reading(0, -0.0034, V, 0.0001), "-3.4 mV"),
        (Reading(0, 0.4, OHM, 0.1), "0.4 ohm"),
        (Reading(0, 12_340.0, OHM, 10.0), "12.34 kohm"),
        (Reading(0, math.inf, OHM, 0.1, Flag.OVERLOAD), "OL ohm"),
        (Reading(0, -math.inf, V, 0.1, Flag.OVERLOAD), "-OL V"),
        (Reading(0, math.nan, V), "- V"),
        (Reading(0, 12.34567, V), "12.35 V"),
        (Reading(0, 21.5, Quantity.TEMPERATURE, 0.1), "21.5 degC"),
        (Reading(0, 33.0, Quantity.DUTY_CYCLE, 0.1), "33.0 %"),
        (Reading(0, 4.7e-8, Quantity.CAPACITANCE, 1e-10), "47.0 nF"),
        (Reading(0, 12.4, V, 0.01, Flag.HOLD | Flag.LOW_BATTERY), "12.40 V HOLD meter battery low"),
    ],
)
def test_the_display_is_shown(reading: Reading, shown: str) -> None:
    assert readout(reading) == shown


def test_a_dropout_of_one_reading_shows_in_the_small_picture() -> None:
    assert sparkline([12.4] * 5 + [0.0] + [12.4] * 4) == "█████▁████"
    assert sparkline([3.0, 3.0]) == "▄▄"
    assert sparkline([0.4, math.inf, 0.5]) == "▁^█"
    assert sparkline([]) == ""
