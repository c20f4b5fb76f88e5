import math

from meterlog.reading import Flag, Quantity, Reading
from meterlog.testing import check_framing

SHOWN = [
    Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC),
    Reading(0.0, -0.5, Quantity.DC_CURRENT, 0.001, Flag.DC),
    Reading(0.0, 471.0, Quantity.RESISTANCE, 1.0, Flag.NONE),
    Reading(0.0, math.inf, Quantity.RESISTANCE, 1.0, Flag.OVERLOAD),
]


def test_it_keeps_every_promise_of_a_framing():
    check_framing("mymeter:x", SHOWN)


def test_a_frame_written_by_hand_from_the_table():
    from meterlog.framing import framing_of

    (reading,) = framing_of("mymeter:x").decoder().feed(bytes.fromhex("ab 01 04 d2 02 84"), 0.0)
    assert (reading.value, reading.quantity) == (12.34, Quantity.DC_VOLTAGE)
