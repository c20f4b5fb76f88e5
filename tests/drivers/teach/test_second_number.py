"""A display with two numbers: both are typed and read; where only the main one is typed, the other stays undecoded."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.errors import TableError
from meterlog.reading import Quantity
from meterlog_drivers.teach.moments import parse_label
from tests.conftest import write_capture

NUMBERS = [(2301, 5002), (2287, 4997), (1946, 5031), (2419, 4968), (876, 5075), (1523, 4914), (2094, 6012), (357, 1498)]
"""Tenths of a volt AC and hundredths of a hertz, each shown five times."""
DARK = 0xFF


def frame(volts: int, hertz: int | None, unit: int = 0x21) -> bytes:
    """STX, four digits, the unit, four digits of the second display or a dark one, its point, CR."""
    second = bytes.fromhex(f"{hertz:04d}") if hertz is not None else bytes([DARK, DARK])
    return bytes([2, *bytes.fromhex(f"{volts:04d}"), unit, *second, 0x44 if hertz is not None else 0, 13])


def taught(folder: Path, *, both: bool, changed: dict[int, str] | None = None) -> int:
    """Teach the meter with one moment in each of the numbers."""
    frames, rows = [], ["time_s,shown"]
    for n, (volts, hertz) in enumerate(NUMBERS):
        frames += [((5 * n + k) * 0.3, frame(volts, hertz)) for k in range(5)]
        text = f"{volts / 10:.1f} V AC" + (f"; {hertz / 100:.2f} Hz" if both else "")
        rows.append(f"{(5 * n + 3) * 0.3 + 0.1:.2f},{(changed or {}).get(n, text)}")
    (folder / "shown.csv").write_text("\n".join([*rows, ""]))
    capture = write_capture(folder / "a.raw", frames)
    return main(["meters", "--teach", str(capture), "--shown", str(folder / "shown.csv"), "--out", f"{folder}/m.toml"])


def readings(folder: Path, *frames: bytes) -> list[tuple[float, Quantity, int]]:
    """Return what the taught profile reads."""
    decoder = framing_of(f"frames:x?profile={folder / 'm.toml'}").decoder()
    return [(r.value, r.quantity, r.column) for one in frames for r in decoder.feed(one, 0.0)]


def test_both_numbers_are_learned_and_a_dark_second_one_is_not_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert taught(tmp_path, both=True) == 0
    assert "the second number is read too" in capsys.readouterr().out
    volts = (208.4, Quantity.AC_VOLTAGE, 0)
    assert readings(tmp_path, frame(2084, 6789)) == [volts, (67.89, Quantity.FREQUENCY, 1)]
    assert readings(tmp_path, frame(2084, None)) == [], "the mark of a dark second display was never taught"


def test_a_slip_in_the_second_number_leaves_the_first_one_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert taught(tmp_path, both=True, changed={4: "87.6 V AC; 50.57 Hz"}) == 0
    said = capsys.readouterr().out
    assert "the second number of reading 5 (50.57 Hz) is left out: the frames then say 5075" in said
    assert "learned from 8 of 8 readings" in said
    assert "# the second number of reading 5, 50.57 Hz: left out" in (tmp_path / "m.toml").read_text()
    assert len(readings(tmp_path, frame(2084, 6789))) == 2


def test_where_only_the_main_number_is_typed_the_others_bytes_stay_undecoded_and_that_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert taught(tmp_path, both=False) == 0
    said = capsys.readouterr().out
    assert "bits moved that are not read: a bar, a counter, or a second number on the display" in said
    assert "they are not read: 5." in (tmp_path / "m.toml").read_text()
    assert "second" not in (tmp_path / "m.toml").read_text()
    read = readings(tmp_path, frame(2084, 5002), frame(2091, 4998))
    assert read == [(208.4, Quantity.AC_VOLTAGE, 0), (209.1, Quantity.AC_VOLTAGE, 0)]


def test_two_numbers_are_typed_with_a_semicolon_between_them() -> None:
    label = parse_label("230,1 V AC; -5.0 degC hold")
    assert (label.text, label.typed) == ("230,1 V AC", "230,1 V AC; -5.0 degC hold")
    assert label.second is not None
    assert (label.second.minus, label.second.quantity) == (True, Quantity.TEMPERATURE)
    for wrong in ("230.1 V AC; 50", "230.1 V; 50.0 Hz; 3 A", "230.1 V;"):
        with pytest.raises(TableError):
            parse_label(wrong)
