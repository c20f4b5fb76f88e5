"""Lines of text: units spelt in several ways, or not at all, and lines that no profile can hold."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from meterlog.driver.framing import framing_of
from meterlog.transports import Chunk
from meterlog_drivers.profiles import text_profile
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.teacher import Taught, teach


def taught(shown: Sequence[tuple[str, str]]) -> Taught:
    """Return what is known after lines that each came four times, and what the display showed."""
    chunks = [Chunk(f"{line}\r\n".encode(), 0.3 * (4 * n + k)) for n, (line, _) in enumerate(shown) for k in range(4)]
    moments = [Moment(0.3 * (4 * n + 3) + 0.05, parse_label(typed)) for n, (_, typed) in enumerate(shown)]
    return teach(chunks, 0.0, moments, ["9600 8N1"], "2026-01-01")


FIRST, THEN = ("1.234", "2.345", "3.456"), ("4.234", "5.345", "6.456")


@pytest.mark.parametrize(
    ("first", "then", "unit"),
    [("{} V DC", "{} VDC", "V"), ("{}", "{} k", "kohm"), ("{}mV", "{}", "V"), ("{} degF", "{}", "V")],
)
def test_a_unit_may_be_spelt_with_blanks_without_and_not_at_all(
    first: str, then: str, unit: str, tmp_path: Path
) -> None:
    other = "degF" if "degF" in first else "mV" if "mV" in first else "V"
    told = taught([(first.format(n), f"{n} {other}") for n in FIRST] + [(then.format(n), f"{n} {unit}") for n in THEN])
    assert told.problem == ""
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    decoder = framing_of(f"text:x?profile={path}").decoder()
    lines = [template.format("7.891") for template in (first, then)] * 2
    got = [one for n, line in enumerate(lines) for one in decoder.feed(f"{line}\r\n".encode(), 0.3 * n)]
    assert [parse_label(f"7.891 {word}").quantity for word in (other, unit)] * 2 == [one.quantity for one in got]


def test_lines_that_no_profile_can_hold_are_a_problem_that_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_profile, "MOST_PATTERN_BYTES", 100)
    told = taught([(f"feed {n} V", f"{n} V") for n in (*FIRST, *THEN)])
    assert not told.profile
    assert told.problem.startswith("what was learned cannot be written as a profile: the profile, line ")


def test_digits_without_a_point_are_no_text_since_a_range_beside_them_moves_it(tmp_path: Path) -> None:
    told = taught([(f"0{n};80:0", f"{n / 1000:.3f} V") for n in (1234, 2345, 3456, 4567, 6789, 7890)])
    path = tmp_path / "m.toml"
    path.write_text(told.profile)
    assert 'kind = "frames"' in told.profile
    decoder = framing_of(f"frames:x?profile={path}").decoder()
    got = [decoder.feed(f"{line}\r\n".encode(), 0.3 * n) for n, line in enumerate(("02345;80:0", "12345;80:0"))]
    assert [[one.value for one in readings] for readings in got] == [[2.345], []]
