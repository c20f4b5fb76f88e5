"""Segments whose wires lie anywhere in the frame: no two digits alike, no pattern."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from meterlog.driver.framing import framing_of
from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.teacher import Taught, teach

LIT = ("abcdef", "bc", "abdeg", "abcdg", "bcfg", "acdfg", "acdefg", "abc", "abcdefg", "abcdfg")
WIRES = random.Random(3).sample(range(40), 28)
"""For each of four digits, the first one first, the bits of its segments a to g."""


def frame(counts: int) -> bytes:
    """A frame that begins with 0xAB, shows four digits and ends with a unit's code."""
    bits = 0
    for place, digit in enumerate(f"{counts:04d}"):
        for segment in LIT[int(digit)]:
            bits |= 1 << WIRES[7 * place + "abcdefg".index(segment)]
    return bytes([0xAB, *bits.to_bytes(5, "little"), 0x07, 0x0D])


def taught(shown: list[int], typed: dict[int, int] | None = None) -> Taught:
    """Return what is known after these numbers, each sent eight times; some of them typed as others."""
    chunks = [Chunk(frame(c), 0.3 * (8 * n + k)) for n, c in enumerate(shown) for k in range(8)]
    texts = [f"{(typed or {}).get(n, c) / 100:05.2f} V" for n, c in enumerate(shown)]
    moments = [Moment(0.3 * (8 * n + 7) + 0.05, parse_label(text)) for n, text in enumerate(texts)]
    return teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")


NUMBERS = random.Random(40996).sample(range(1000, 10000), 15)
"""In which every digit is in every place."""


@pytest.mark.parametrize("typed", [{}, {4: NUMBERS[4] + 10}])
def test_they_are_found_from_fifteen_numbers_and_a_slip_is_named(typed: dict[int, int], tmp_path: Path) -> None:
    told = taught(NUMBERS, typed)
    assert set(told.slips) == set(typed)
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    read = [got.value for c in range(1000, 10000, 7) for got in decoder.feed(frame(c), c * 0.3)]
    assert read == [c / 100 for c in range(1000, 10000, 7)]


def test_a_digit_that_could_be_another_is_not_read_but_asked_for(tmp_path: Path) -> None:
    told = taught([c // 10 * 10 + (4, 5, 6, 8)[c % 4] for c in NUMBERS])
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    for c in range(1000, 10000, 7):
        assert [got.value for got in decoder.feed(frame(c), c * 0.3)] in ([], [c / 100])
    question = next_question(told.lesson, set(), 15)
    assert question is not None
    assert (question.place, question.digit) == (0, 0)
    assert "Show a number whose last digit is 0" in question.text
