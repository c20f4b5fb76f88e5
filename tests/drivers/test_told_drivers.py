"""Framings of which only a part was published ask a person for the rest, and then read it; frames written by hand."""

from __future__ import annotations

import math

import pytest

from meterlog.driver.framing import framing_of
from meterlog.errors import AddressError
from meterlog.reading import Flag, Quantity, Reading

Q = Quantity
BITS_REVERSED = {0: 0, 1: 8, 2: 4, 3: 12, 4: 2, 5: 10, 6: 6, 7: 14, 8: 1, 9: 9}
"""A half-byte whose first bit on the wire, bit 0, is its highest."""


def read(address: str, *frames: bytes) -> list[Reading]:
    decoder = framing_of(address).decoder()
    readings = decoder.feed(b"".join(frames), 0.0)
    assert decoder.traffic.frames_good == len(frames)
    return readings


def bcd17(digits: str, point: int, symbols: dict[int, int], unit: int, head: bytes = b"\xaa\x55") -> bytes:
    """Make a frame by hand, bytes from 1: any header and device code, a second display that nobody has described."""
    frame = bytearray(17)
    frame[0:2] = head
    frame[2] = {0: 0x00, 1: 0x10, 2: 0x20, 3: 0x40}[point]
    first, second, third, fourth = (BITS_REVERSED[int(digit)] for digit in digits)
    frame[4], frame[5] = first | second << 4, third | fourth << 4
    frame[12], frame[13:] = unit, b"\x07\x21\x13\x99"
    for at, bits in symbols.items():
        frame[at - 1] |= bits
    return bytes(frame)


@pytest.mark.parametrize(
    ("frame", "value", "quantity", "resolution", "flags"),
    [
        (bcd17("1234", 3, {7: 0x01, 10: 0x08}, 0), 1.234, Q.DC_VOLTAGE, 0.001, Flag.DC),
        (bcd17("4000", 2, {4: 1, 7: 0x01, 10: 0x09}, 0), -40.0, Q.DC_VOLTAGE, 0.01, Flag.DC | Flag.AUTORANGE),
        (bcd17("0567", 1, {7: 0x02, 10: 0x04}, 1), 0.0567, Q.AC_CURRENT, 1e-4, Flag.AC),
        (bcd17("0999", 1, {7: 0x04, 11: 0x08}, 2), 99900.0, Q.RESISTANCE, 100.0, Flag.LOW_BATTERY),
        (bcd17("0000", 0, {7: 0x04, 10: 0x10}, 0), math.inf, Q.RESISTANCE, 1.0, Flag.OVERLOAD),
        (bcd17("0012", 1, {7: 0x08, 11: 0x80}, 0), 1.2, Q.CONTINUITY, 0.1, Flag.HOLD),
        (bcd17("0231", 1, {8: 0x02, 12: 0x01}, 0), 23.1, Q.TEMPERATURE, 0.1, Flag.RELATIVE),
    ],
)
def test_bcd17_is_read_as_its_datasheet_says(
    frame: bytes, value: float, quantity: Quantity, resolution: float, flags: Flag
) -> None:
    readings = read("bcd17:x?told=00:none,01:m,02:k", frame, frame)
    for reading in readings:
        assert reading[1:5] == (value, quantity, resolution, flags)


def test_a_damaged_frame_without_marks_costs_itself_alone_and_makes_no_other() -> None:
    """Shifted by some bytes, the end of one such frame and the beginning of the next can look like a third."""
    frame = bcd17("3999", 2, {7: 0x02, 10: 0x04, 12: 0x04}, 0, head=b"\0\0")[:13] + bytes(4)
    for place in range(2, 13):
        for bit in range(8):
            damaged = bytearray(frame)
            damaged[place] ^= 1 << bit
            decoder = framing_of("bcd17:x?told=00:none,01:m,02:k").decoder()
            readings = decoder.feed(frame * 2 + damaged + frame * 2, 0.0)
            assert len(readings) <= 5
            assert all(reading.value == 39.99 for reading in (*readings[:2], *readings[-2:]))


def test_the_sister_of_bcd17_has_other_bits_and_neither_takes_the_others_frames() -> None:
    frame = bcd17("1234", 3, {7: 0x01, 10: 0x48, 11: 0x04, 12: 0x40}, 0)
    (reading, _) = read("bcd17:x?chip=sister&told=00:none", frame, frame)
    assert reading[1:5] == (1.234, Q.DC_VOLTAGE, 0.001, Flag.DC | Flag.LOW_BATTERY | Flag.MAXIMUM)
    assert framing_of("bcd17:x?told=00:none").decoder().feed(frame * 4, 0.0) == []
    assert framing_of("bcd17:x?chip=sister&told=00:none").decoder().feed(bcd17("1234", 3, {7: 1, 10: 8}, 0), 0.0) == []


@pytest.mark.parametrize("symbols", [{9: 0x01}, {10: 0x20}, {11: 0x10}, {12: 0x80}])
def test_bits_of_bcd17_that_say_nothing_known_are_refused(symbols: dict[int, int]) -> None:
    decoder = framing_of("bcd17:x?told=00:none").decoder()
    assert decoder.feed(bcd17("1234", 3, {7: 0x01, **symbols, 10: symbols.get(10, 0) | 0x08}, 0), 0.0) == []
    assert decoder.traffic.frames_refused == 1


@pytest.mark.parametrize(
    ("frame", "value", "quantity", "resolution", "flags"),
    [
        (b"123451100\r\n", 12.345, Q.DC_VOLTAGE, 0.001, Flag.DC),
        (b"023461140\r\n", -2.346, Q.DC_VOLTAGE, 0.001, Flag.DC),
        (b"000000480\r\n", math.inf, Q.RESISTANCE, 0.01, Flag.OVERLOAD),
        (b"041230801\r\n", 0.04123, Q.AC_CURRENT, 1e-5, Flag.AC),
        (b"002310:00\r\n", 23.1, Q.CONTINUITY, 0.1, Flag.NONE),
        (b"002120=00\r\n", 100.0, Q.TEMPERATURE, 5 / 9, Flag.NONE),
    ],
)
def test_five11_is_read_as_a_person_told_it(
    frame: bytes, value: float, quantity: Quantity, resolution: float, flags: Flag
) -> None:
    told = "1100:1mV,1140:1mV+minus,0480:0.01ohm+overload,0801:10uA+ac,0A00:0.1ohm,0D00:1degF"
    for reading in read(f"five11:x?told={told}", frame, frame):
        assert reading[1:5] == (value, quantity, resolution, flags)


@pytest.mark.parametrize(
    ("address", "frame", "question"),
    [
        ("five11:x", b"123451100\r\n", "The frame says '1100' in byte 6, 7, 8, 9: add for example told=1100:1mV"),
        ("five11:x?told=1100:1mV", b"12345110<\r\n", "told=110C:1mV"),
        (
            "bcd17:x",
            bcd17("1234", 3, {7: 0x01, 10: 0x08}, 5),
            "The frame says '05' in byte 13: add for example told=05:m",
        ),
    ],
)
def test_what_was_not_published_is_asked_and_not_read(address: str, frame: bytes, question: str) -> None:
    decoder = framing_of(address).decoder()
    assert decoder.feed(frame * 3, 0.0) == []
    assert question in decoder.traffic.question
    assert (decoder.traffic.frames_asked, decoder.traffic.frames_rejected) == (3, 0)


def test_currents_need_their_coupling_told() -> None:
    decoder = framing_of("five11:x?told=0800:10uA").decoder()
    assert decoder.feed(b"041230800\r\n", 0.0) == []
    assert decoder.traffic.frames_refused == 1


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ("1100", "told must be like 0000:1mV"),
        ("11:1mV", "told must be like 0000:1mV"),
        ("11G0:1mV", "told must be like 0000:1mV"),
        ("1100:1mA", "told says '1mA' of bytes that say V"),
        ("1100:2mV", "one count is a power of ten"),
        ("1100:0mV", "one count is a power of ten"),
        ("1100:1MV", "milli or mega"),
        ("1100:1mV minsu", "not 'minsu'"),
    ],
)
def test_what_cannot_have_been_told_is_refused(told: str, says: str) -> None:
    with pytest.raises(AddressError, match=says):
        framing_of(f"five11:x?told={told.replace(' ', '+')}").decoder()
    with pytest.raises(AddressError, match="told must be like 00:m"):
        framing_of("bcd17:x?told=0:m").decoder()
