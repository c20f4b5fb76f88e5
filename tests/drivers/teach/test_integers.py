"""Integers with a sign of their own are read over their whole width, whatever was shown first."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import pytest

from meterlog.driver.framing import framing_of
from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.teacher import Taught, teach

SHOWN = (12.34, 5.67, 98.01, 0.42, 33.33, 71.28, -12.34, -3.08, 64.5)
MASK = 0x5A
"""Turns bits over, so that nobody can tell a sign that was never set from a bit that is always set."""


def frame(counts: int, size: int) -> bytes:
    """A frame that begins with 0xAB, with a masked number and a unit's code."""
    number = (counts & (1 << 8 * size) - 1).to_bytes(size, "little")
    return bytes([0xAB, *(byte ^ MASK for byte in number), 0x07, 0x0D])


VOLTS = [f"{v:.2f} V" for v in SHOWN]
COUNTS = [round(100 * v) for v in SHOWN]


def taught(size: int, typed: Sequence[str] = VOLTS, counts: Sequence[int] = COUNTS) -> Taught:
    """Return what is known after these displays, each sent eight times."""
    chunks = [Chunk(frame(c, size), 0.3 * (8 * n + k)) for n, c in enumerate(counts) for k in range(8)]
    moments = [Moment(0.3 * (8 * n + 7) + 0.05, parse_label(text)) for n, text in enumerate(typed)]
    return teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")


@pytest.mark.parametrize("size", [2, 3, 4])
def test_a_minus_that_comes_late_is_the_numbers_own(size: int, tmp_path: Path) -> None:
    told = taught(size)
    assert told.slips == {}
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    values = [got.value for n, c in enumerate((1, -1, -9999, 9999)) for got in decoder.feed(frame(c, size), n * 0.3)]
    assert values == pytest.approx([0.01, -0.01, -99.99, 99.99])


def test_a_small_negative_number_is_never_taken_for_an_overload(tmp_path: Path) -> None:
    """Of 0x7FFFFF, which means overload here, the lower two bytes alone are -1."""
    told = taught(3, [*VOLTS, "OL V", "OL V"], [*COUNTS, 0x7FFFFF, 0x7FFFFF])
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    values = [got.value for n, c in enumerate((-1, 0x7FFFFF)) for got in decoder.feed(frame(c, 3), n * 0.3)]
    assert values == [pytest.approx(-0.01), math.inf]


@pytest.mark.parametrize("overload", [0x7FFFFF, 0x3FFF, -0x800000])
def test_an_overload_that_was_never_shown_is_never_a_number(overload: int, tmp_path: Path) -> None:
    path = tmp_path / "m.toml"
    path.write_text(taught(3).profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    assert [got.value for n, c in enumerate((overload, 9999)) for got in decoder.feed(frame(c, 3), n * 0.3)] == [99.99]


def test_a_minus_is_asked_for_in_a_range_that_was_shown_without() -> None:
    question = next_question(taught(2, VOLTS[:6], COUNTS[:6]).lesson, set(), 6)
    assert question is not None
    assert question.minus
    assert question.like is not None
    assert question.like.text == "12.34 V"
    assert "same range" in question.text
