"""Digits in characters, several of them blank at once: each place's blank is its own."""

from __future__ import annotations

from pathlib import Path

from meterlog.driver.framing import framing_of
from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.teacher import teach

SHOWN = ("123.4", "567.8", "901.2", "34.5", "6.7", "0.3", "789.0", "246.8")


def frame(shown: str) -> bytes:
    """A frame that begins with 0xAB: four characters, blanks in front, and a unit's code."""
    return b"\xab" + shown.replace(".", "").rjust(4).encode() + b"\x07\r\n"


def test_numbers_with_several_blanks_are_read(tmp_path: Path) -> None:
    chunks = [Chunk(frame(text), 0.3 * (8 * n + k)) for n, text in enumerate(SHOWN) for k in range(8)]
    moments = [Moment(0.3 * (8 * n + 7) + 0.05, parse_label(f"{text} V")) for n, text in enumerate(SHOWN)]
    taught = teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")
    assert taught.problem == ""
    path = tmp_path / "m.toml"
    path.write_text(taught.profile)
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    more = ("0.9", "5.1", "42.0", "999.9")
    assert [got.value for n, text in enumerate(more) for got in decoder.feed(frame(text), n * 0.3)] == [
        float(text) for text in more
    ]
