"""A bar graph beside the number: it says nothing that the number does not, and no symbol is lost in it."""

from __future__ import annotations

import random

import numpy as np
import pytest

from meterlog.transports import Chunk
from meterlog_drivers.teach.digits.bars import bar_bits
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.teacher import Taught, teach

NUMBERS = [137, 3985, 1264, 2871, 512, 3340, 2033, 1720, 918, 2466, 3127, 655, 1490]
BYTE = range(8)


def found(codes: list[int], numbers: list[int] | None = None) -> set[int]:
    """The bits of a byte, 7 the highest, that are a bar's."""
    bits = np.unpackbits(np.array(codes, dtype=np.uint8)[:, None], axis=1).astype(np.bool_)
    return {7 - bit for bit in bar_bits(numbers or NUMBERS, bits, BYTE)}


@pytest.mark.parametrize("mask", [0x00, 0x3F, 0x2A, 0xC5])
def test_a_length_in_steps_is_found_under_any_mask(mask: int) -> None:
    assert found([n // 100 ^ mask for n in NUMBERS]) == {0, 1, 2, 3, 4, 5}


@pytest.mark.parametrize("constant", [0x10, 0x33, 0xF0])
def test_a_length_to_which_a_constant_is_added_is_found(constant: int) -> None:
    codes = [n // 100 + constant & 0xFF for n in NUMBERS]
    changing = {bit for bit in BYTE if len({code >> bit & 1 for code in codes}) > 1}
    assert changing <= found(codes)


def test_a_length_that_falls_as_the_number_rises_is_found() -> None:
    assert found([63 - n // 100 for n in NUMBERS]) == {0, 1, 2, 3, 4, 5}


@pytest.mark.parametrize("bit", [6, 7])
@pytest.mark.parametrize("least", [300, 1500, 3000])
def test_a_symbol_above_it_is_not_its_own_though_only_high_numbers_showed_it(bit: int, least: int) -> None:
    assert found([n // 100 | (n > least) << bit for n in NUMBERS]) == {0, 1, 2, 3, 4, 5}


@pytest.mark.parametrize("least", [300, 1500, 3000])
def test_a_symbol_below_it_is_not_its_own(least: int) -> None:
    assert found([n // 100 << 1 | (n > least) for n in NUMBERS]) == {1, 2, 3, 4, 5, 6}


def test_a_bit_within_it_that_never_changed_is_its_own() -> None:
    numbers = [n for n in range(50, 4000, 130) if not n // 100 & 8]
    assert found([n // 100 for n in numbers], numbers) == {0, 1, 2, 3, 4, 5}


def test_what_does_not_follow_the_number_is_none() -> None:
    rng = random.Random(1)
    assert not found([rng.randrange(40) for _ in NUMBERS])
    assert not found([n // 100 for n in NUMBERS[:3]], NUMBERS[:3])


SHOWN = ("12.34", "36.78", "30.12", "34.56", "38.90", "11.13", "1.05", "20.91", "-27.11", "-39.42")


def taught(*, minus_bit: int) -> Taught:
    """A meter whose bar has a byte of its own, but for a minus above it."""
    chunks = []
    for n, text in enumerate(SHOWN):
        counts = round(abs(float(text)) * 100)
        bar = counts // 100 | text.startswith("-") << minus_bit
        data = bytes([0xAB, *bytes.fromhex(f"{counts:04d}"), 0x07, bar, 0x0D])
        chunks += [Chunk(data, 0.3 * (8 * n + k)) for k in range(8)]
    moments = [Moment(0.3 * (8 * n + 7) + 0.05, parse_label(f"{text} V")) for n, text in enumerate(SHOWN)]
    return teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")


@pytest.mark.parametrize("bit", [6, 7])
def test_a_minus_in_the_byte_of_the_bar_stays_a_minus(bit: int) -> None:
    told = taught(minus_bit=bit)
    assert (told.problem, told.slips) == ("", {})
    assert f"at = [5]\nmasks = [0x{1 << bit:02X}]" in told.profile
    assert "not read: 5.5, 5.4, 5.3, 5.2, 5.1, 5.0." in told.profile
