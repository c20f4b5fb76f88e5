"""Mistakes while teaching: one sentence and exit 2, nothing written; slips and late answers are named."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from tests.conftest import write_capture

PLAIN = [(n * 0.3, 12.0 + 0.37 * (n // 5)) for n in range(60)]
"""Times and volts of a meter that shows each number five times."""


def capture(folder: Path) -> Path:
    """A capture of a meter that sends STX, four digits in BCD under a mask, CR."""
    frames = []
    for time_s, volts in PLAIN:
        digits = bytes.fromhex(f"{round(volts * 100):04d}")
        frames.append((time_s, bytes([2, digits[0] ^ 0x5A, digits[1] ^ 0x99, 0x40, 13])))
    return write_capture(folder / "a.raw", frames)


def teach(folder: Path, rows: list[str], head: str = "time_s,shown") -> int:
    """Teach it with these moments."""
    shown = folder / "shown.csv"
    shown.write_text("\n".join([head, *rows, ""]))
    return main(["meters", "--teach", str(capture(folder)), "--shown", str(shown), "--out", str(folder / "m.toml")])


def rows(*changed: tuple[int, str]) -> list[str]:
    """A moment in each of the numbers, some typed otherwise."""
    typed = {n: f"{volts:.2f} V" for n, (_, volts) in enumerate(PLAIN) if n % 5 == 3}
    return [f"{PLAIN[n][0] + 0.1:.2f},{dict(changed).get(n, text)}" for n, text in typed.items()]


def test_a_slip_is_named_and_decides_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert teach(tmp_path, rows((18, "31.11 V"))) == 0
    said = capsys.readouterr().out
    assert "reading 4 (31.11 V) is left out: the frames then say 1311" in said
    decoder = framing_of(f"frames:x?profile={tmp_path / 'm.toml'}").decoder()
    frame = bytes([2, 0x98 ^ 0x5A, 0x07 ^ 0x99, 0x40, 13])
    assert decoder.feed(frame, 0.0)[0].value == 98.07


def test_a_unit_that_contradicts_the_other_moments_is_a_slip_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert teach(tmp_path, rows((23, "13.48 A"))) == 0
    assert "reading 5 (13.48 A) is left out: other moments with the same bytes" in capsys.readouterr().out


def test_more_readings_that_do_not_fit_than_a_person_mistypes_are_no_slips_and_nothing_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    wrong = {8: "13.11 V", 23: "14.22 V", 38: "15.33 V"}
    assert teach(tmp_path, rows(*wrong.items())) == 2
    said = capsys.readouterr().err
    assert "3 of 12 readings do not fit the digits as the others show them: show others" in said
    assert not (tmp_path / "m.toml").exists()


@pytest.mark.parametrize(
    ("moments", "head", "said"),
    [
        (["1,12.34"], "time_s,shown", "line 2 of "),
        (["soon,12.34 V"], "time_s,shown", "'soon' is not a time in seconds"),
        (["1,12.34 V"], "when,what", "must have the columns time_s and shown"),
        (rows()[:2], "time_s,shown", "nothing was written: the digits were not found yet; show next: "),
    ],
)
def test_what_cannot_be_used_is_one_sentence_and_nothing_is_written(
    moments: list[str], head: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert teach(tmp_path, moments, head) == 2
    error = capsys.readouterr().err
    assert said in error
    assert error.count("\n") == 1
    assert not (tmp_path / "m.toml").exists()


def test_a_profile_that_is_there_is_not_written_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "m.toml").write_text("mine")
    assert teach(tmp_path, rows()) == 2
    assert "exists already: give another name, or --replace to write over it" in capsys.readouterr().err
    assert (tmp_path / "m.toml").read_text() == "mine"
