"""A minus that nobody typed: what differs in one reading alone is neither learned nor passed over."""

from __future__ import annotations

from pathlib import Path

from meterlog.driver.framing import framing_of
from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.teacher import Taught, teach

SHOWN = ("12.34", "56.78", "90.12", "34.56", "78.90", "11.13", "-47.11")


def frame(shown: str) -> bytes:
    """A frame that begins with 0xAB: a sign bit, four digits and a unit's code."""
    return bytes([0xAB, 0x40 * shown.startswith("-"), *bytes.fromhex(shown.strip("-").replace(".", "")), 0x07, 0x0D])


def taught(*typed: str) -> Taught:
    """Return what is known after the displays above and further ones, of which the last were typed so."""
    texts = [*SHOWN[:6], *typed]
    shown = [*SHOWN, *(text for text in typed[1:])]
    chunks = [Chunk(frame(text), 0.3 * (8 * n + k)) for n, text in enumerate(shown) for k in range(8)]
    moments = [Moment(0.3 * (8 * n + 7) + 0.05, parse_label(f"{text} V")) for n, text in enumerate(texts)]
    return teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")


def test_a_minus_that_was_not_typed_never_becomes_a_plus(tmp_path: Path) -> None:
    told = taught("47.11")
    assert "a minus perhaps" in told.slips[6]
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    read = [[got.value for got in decoder.feed(frame(text), n * 0.3)] for n, text in enumerate(("47.11", "-47.11"))]
    assert read == [[47.11], []]
    question = next_question(told.lesson, set(), 7)
    assert question is not None
    assert "Type what it shows now" in question.text


def test_once_it_is_typed_the_one_without_is_the_slip() -> None:
    told = taught("47.11", "-20.05", "-31.42")
    assert set(told.slips) == {6}
