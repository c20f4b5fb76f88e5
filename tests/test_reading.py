"""The values that everything passes on: what cannot change without breaking recorded sessions."""

from __future__ import annotations

import math

import pytest

from meterlog.reading import Accuracy, Flag, Quantity, Reading


def test_the_quantities_and_their_spelling_are_the_files_and_commands_contract() -> None:
    spelt = "dc_voltage ac_voltage dc_current ac_current resistance continuity diode frequency duty_cycle capacitance"
    assert " ".join(q.value for q in Quantity) == f"{spelt} temperature"


def test_every_quantity_has_a_unit() -> None:
    assert {q.value: q.unit for q in Quantity} == {
        "dc_voltage": "V",
        "ac_voltage": "V",
        "dc_current": "A",
        "ac_current": "A",
        "resistance": "ohm",
        "continuity": "ohm",
        "diode": "V",
        "frequency": "Hz",
        "duty_cycle": "%",
        "capacitance": "F",
        "temperature": "degC",
    }


def test_the_flags_bits_are_part_of_the_session_format() -> None:
    names = ["OVERLOAD", "HOLD", "LOW_BATTERY", "RELATIVE", "AUTORANGE", "MINIMUM", "MAXIMUM", "AC", "DC", "BEEP"]
    names += ["DOUBTFUL"]
    assert [(f.name, f.value) for f in Flag] == [(name, 1 << n) for n, name in enumerate(names)]
    assert max(Flag).value < 1 << 16


def test_a_reading_cannot_be_changed() -> None:
    reading = Reading(1.0, 12.34, Quantity.DC_VOLTAGE)
    with pytest.raises(AttributeError):
        reading.value = 13.0  # type: ignore[misc]
    assert math.isnan(reading.resolution)
    assert (reading.flags, reading.column) == (Flag.NONE, 0)


@pytest.mark.parametrize(
    ("accuracy", "value", "resolution", "error"),
    [
        (Accuracy(), 12.0, 0.01, 0.08),
        (Accuracy(), -12.0, 0.01, 0.08),
        (Accuracy(0.01, 5), 0.0, 0.001, 0.005),
        (Accuracy(0.01, 5), 100.0, math.nan, 1.0),
        (Accuracy(0.01, 5, 0.05), 1.0, 0.001, 0.065),
    ],
)
def test_the_error_band_is_a_share_of_the_reading_plus_counts(
    accuracy: Accuracy, value: float, resolution: float, error: float
) -> None:
    assert accuracy.error(value, resolution) == pytest.approx(error)
