"""A pattern of a stranger's profile costs time in proportion to the line, whatever it says."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from meterlog.driver.framing import Decoder, framing_of
from meterlog.errors import ProfileError

BUSY_S = 5.0
"""An engine that goes back over what it read would take longer than the universe is old; this one microseconds."""


def decoder(tmp_path: Path, pattern: str) -> Decoder:
    path = tmp_path / "mine.toml"
    path.write_text(f"kind = 'text'\n[[column]]\nquantity = 'dc_voltage'\npattern = '''{pattern}'''\n")
    return framing_of(f"text:x?profile={path}").decoder()


@pytest.mark.parametrize(
    "pattern",
    ["(?:x+)+y{number}", "(x|x)*{number}", "(?:a?){200}a{200}{number}", r"(\d+)*\s*{number}", "(.*)*{number}V"],
)
def test_no_pattern_holds_a_recording_up(tmp_path: Path, pattern: str) -> None:
    lines = b"".join(letter * 250 + b"\n" for letter in (b"x", b"a", b"1", b" ", b"."))
    made = decoder(tmp_path, pattern)
    begun_s = time.process_time()
    made.feed(lines, 1.0)
    assert time.process_time() - begun_s < BUSY_S


@pytest.mark.parametrize("pattern", [r"(?=x){number}", r"(x)\1{number}", "(?:x{1000}){1000}{number}", "({number}"])
def test_what_no_linear_engine_can_do_is_refused_with_its_line(tmp_path: Path, pattern: str) -> None:
    with pytest.raises(
        ProfileError, match=r"mine\.toml, line 4: pattern is not a regular expression that this engine accepts"
    ):
        decoder(tmp_path, pattern)
