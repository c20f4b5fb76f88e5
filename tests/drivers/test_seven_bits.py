"""Checks what a 7O1 line delivers: seven bits on a port set so, the parity as eighth bit on one set to 8N1."""

from __future__ import annotations

import os
from collections.abc import Callable

import pytest

from meterlog.driver import open_address
from meterlog.driver.framing import framing_of
from meterlog.reading import Flag, Quantity, Reading

READING = Reading(0.0, 12.34, Quantity.DC_VOLTAGE, 0.01, Flag.DC)
ADDRESSES = ["digits11:{}", "digits11:{}?baud=19230", "digits14:{}", "digits14:{}?line=8N1"]


def with_parity(data: bytes) -> bytes:
    """Odd parity in the eighth bit of each byte."""
    return bytes(b | (0 if b.bit_count() % 2 else 0x80) for b in data)


@pytest.fixture
def terminal(pseudo_terminal: Callable[[], tuple[int, int]]) -> tuple[int, str]:
    master, slave = pseudo_terminal()
    return master, os.ttyname(slave)


@pytest.mark.parametrize("address", ADDRESSES)
@pytest.mark.parametrize("parity", [False, True])
def test_a_7o1_meter_is_read_from_a_pseudo_terminal(terminal: tuple[int, str], address: str, parity: bool) -> None:
    master, port = terminal
    frame = framing_of(address.format(port)).encoder().encode([READING])
    meter = open_address(address.format(port))[1]
    for _ in range(2):  # a second opening and changing waits work as well
        connection = meter.open()
        os.write(master, (with_parity(frame) if parity else frame) * 2)
        readings = [r for wait_s in (0.5, 0.05, 0.02) for r in connection.read(wait_s) or []]
        connection.close()
        assert [r._replace(time_s=0.0, time_error_s=0.0) for r in readings] == [READING] * 2


@pytest.mark.parametrize("address", ["digits11:x", "digits14:x"])
def test_a_frame_with_its_parity_shows_every_flipped_bit(address: str) -> None:
    frame = with_parity(framing_of(address).encoder().encode([READING]))
    for bit in range(8 * len(frame)):
        damaged = bytearray(frame)
        damaged[bit // 8] ^= 1 << bit % 8
        decoder = framing_of(address).decoder()
        assert decoder.feed(bytes(damaged), 0.0) == [], f"bit {bit}"


@pytest.mark.parametrize("address", ["digits11:x", "digits14:x"])
def test_an_eighth_bit_is_never_masked_away(address: str) -> None:
    frame = framing_of(address).encoder().encode([READING])
    for place in range(len(frame)):
        damaged = bytearray(frame)
        damaged[place] |= 0x80
        assert framing_of(address).decoder().feed(bytes(damaged), 0.0) == []
