"""The limits that belong to a session."""

from __future__ import annotations

import numpy as np
import pytest

from meterlog.details import entered_number
from meterlog.limits import limits_for
from meterlog.limits.system import upper_v
from meterlog.series import Series


def standing(volts: float) -> Series:
    """A channel that stands at one level."""
    count = np.full(100, 0.01, np.float32)
    return Series(np.arange(100.0), np.full(100, volts), count, np.zeros(100, np.uint16))


@pytest.mark.parametrize(
    ("details", "volts", "name", "assumed"),
    [
        ({"system_v": "24"}, 12.0, "24 V truck", ""),
        ({"system_v": "24 V"}, 12.0, "24 V truck", ""),
        ({"system_v": "6"}, 6.3, "6 V", ""),
        ({}, 25.2, "24 V truck", "24 V by the readings"),
        ({}, 12.6, "12 V car", "12 V is assumed"),
        ({}, 6.3, "12 V car", "12 V is assumed"),
        ({"system_v": "12"}, 25.2, "12 V car", ""),
    ],
)
def test_as_entered_else_by_the_readings(details: dict[str, str], volts: float, name: str, assumed: str) -> None:
    limits = limits_for(details, [standing(0.1), standing(volts)])
    assert limits.name == name
    assert assumed in limits.assumed
    assert bool(assumed) == bool(limits.assumed)


@pytest.mark.parametrize(
    ("text", "number"),
    [("12", 12.0), (" 12,6 V", 12.6), ("-5.5°C", -5.5), ("18degC", 18.0), ("cold", None), ("", None), ("12/24", None)],
)
def test_a_detail_as_a_number_with_or_without_its_unit(text: str, number: float | None) -> None:
    assert entered_number({"temperature_c": text}, "temperature_c") == number
    assert entered_number({}, "temperature_c") is None


def test_one_reading_among_those_of_a_feed_that_is_off_tells_no_system() -> None:
    lone, short = standing(0.0), standing(25.2)[:2]
    lone.value[41] = 92.6
    assert upper_v(lone) == 0.0
    assert "12 V is assumed" in limits_for({}, [lone]).assumed
    assert upper_v(short) == 25.2, "two readings of a short session are all there is"
