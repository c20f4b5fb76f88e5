"""Slips are said while the person is still lying there, and what they show is never believed."""

from __future__ import annotations

import math

import pytest

from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.taking.expected import Expected
from meterlog.job.taking.slips import Slips
from meterlog.reading import Flag, Quantity, Reading

VOLTS = Measurement("voltage", "plug_feed"), Expected(0.0, 12.1, 12.1)
DROP = Measurement("voltage_drop", "relay", "relay"), Expected(12.4, 0.02, 0.02)
OHMS = Measurement("resistance", "a", "b", "isolated"), Expected(0.3, 0.3, 0.3)
AMPERES = Measurement("current", "fuse"), Expected(0.0, 5.0, 5.0)


def reading(
    value: float, quantity: Quantity = Quantity.DC_VOLTAGE, resolution: float = 0.01, flags: Flag = Flag.NONE
) -> Reading:
    return Reading(0.0, value, quantity, resolution, flags)


@pytest.mark.parametrize(
    ("asked", "one", "said"),
    [
        (VOLTS, reading(0.4, Quantity.RESISTANCE), "Leads off first: no ohms on a live circuit"),
        (VOLTS, reading(0.0, Quantity.DC_CURRENT), "Leads off first, red out of the current jack"),
        (VOLTS, reading(12.1, Quantity.AC_VOLTAGE), "turn it to DC voltage"),
        (AMPERES, reading(12.1), "The meter shows DC voltage: turn it to DC current"),
        (OHMS, reading(12.3), "12.30 V is there: the circuit is live"),
        (OHMS, reading(0.0), "turn it to resistance"),
        (OHMS, reading(-5.0, Quantity.RESISTANCE, 0.1), "the circuit is live"),
        (VOLTS, reading(-12.1), "red and black are exchanged"),
        (DROP, reading(-12.4), "red and black are exchanged"),
        (AMPERES, reading(-5.0, Quantity.DC_CURRENT), "red and black are exchanged"),
        (VOLTS, reading(12.1, flags=Flag.HOLD), "The display is held"),
        (VOLTS, reading(math.inf, flags=Flag.OVERLOAD), "next higher range"),
        (DROP, reading(0.0, resolution=0.1), "The range is too coarse, one count is 0.1 V"),
        (OHMS, reading(0.0, Quantity.RESISTANCE, 1000.0), "The range is too coarse"),
        (AMPERES, reading(5.0, Quantity.DC_CURRENT, 1.0), "The range is too coarse"),
    ],
)
def test_a_slip_is_said_and_not_believed(asked: tuple[Measurement, Expected], one: Reading, said: str) -> None:
    slips = Slips(*asked)
    assert not slips.feed(one)
    assert slips.said == ""  # one may be the dial on its way
    assert not slips.feed(one)
    assert said in slips.said


@pytest.mark.parametrize(
    ("asked", "one"),
    [
        (VOLTS, reading(12.1)),
        (VOLTS, reading(-0.02)),
        (DROP, reading(0.02)),
        (OHMS, reading(math.inf, Quantity.RESISTANCE, 1e4, Flag.OVERLOAD)),
        (OHMS, reading(0.0, Quantity.CONTINUITY, 0.1)),
        (AMPERES, reading(5.0, Quantity.DC_CURRENT)),
        ((Measurement("current", "battery", state="run"), Expected(0, 0, 30.0)), reading(-20.0, Quantity.DC_CURRENT)),
    ],
)
def test_what_is_right_is_believed(asked: tuple[Measurement, Expected], one: Reading) -> None:
    slips = Slips(*asked)
    assert slips.feed(one)
    assert slips.feed(one)
    assert slips.said == ""


def test_a_slip_that_was_put_right_is_said_no_more() -> None:
    slips = Slips(*VOLTS)
    for _ in range(3):
        slips.feed(reading(-12.1))
    assert slips.feed(reading(12.1))
    assert slips.said == ""
