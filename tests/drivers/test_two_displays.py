"""A frame with two numbers: both displays are read, written and explained; a dark second leaves the first alone."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.driver.framing import framing_of
from meterlog.errors import EncodeError, ProfileError
from meterlog.reading import Flag, Quantity, Reading

TWO_DISPLAYS = """
kind = "frames"
[frame]
length = 10
start = [0x55]
[number]
digits = "bcd"
at = [3, 4]
[[map]]
at = 2
values = { "0x01" = "ac V point1", "0x02" = "ohm point0" }
[bits]
"5.0" = "hold"
[second.number]
digits = "bcd"
at = [7, 8]
[[second.map]]
at = 6
unknown = "refused"
values = { "0x01" = "Hz point2", "0x02" = "degC point1" }
[second.bits]
"9.0" = "minus"
[[second.steady]]
at = 10
mask = 0xFF
value = 0x07
"""


def _profile(folder: Path, text: str = TWO_DISPLAYS) -> Path:
    path = folder / "two.toml"
    path.write_text(text)
    return path


def test_two_displays_in_one_frame_are_two_columns(tmp_path: Path) -> None:
    framing = framing_of(f"frames:x?profile={_profile(tmp_path)}")
    volts = Reading(0.0, 230.1, Quantity.AC_VOLTAGE, 0.1, Flag.AC, 0)
    hertz = Reading(0.0, 49.98, Quantity.FREQUENCY, 0.01, Flag.NONE, 1)
    frame = bytes.fromhex("55 01 23 01 00 01 49 98 00 07")
    assert framing.decoder().feed(frame, 0.0) == [volts, hertz]
    assert framing.encoder().encode([volts, hertz]) == frame
    cold = hertz._replace(value=-5.2, quantity=Quantity.TEMPERATURE, resolution=0.1)
    held = volts._replace(flags=Flag.AC | Flag.HOLD)
    assert framing.decoder().feed(framing.encoder().encode([held, cold]), 0.0) == [held, cold]
    with pytest.raises(EncodeError):
        framing.encoder().encode([hertz])


@pytest.mark.parametrize("second", ["00 49 98 00 07", "01 FF FF 00 07", "01 49 98 00 06"])
def test_a_second_display_that_is_dark_or_unknown_leaves_the_first_alone(second: str, tmp_path: Path) -> None:
    framing = framing_of(f"frames:x?profile={_profile(tmp_path)}")
    (volts,) = framing.decoder().feed(bytes.fromhex(f"55 01 23 01 00 {second}"), 0.0)
    assert (volts.value, volts.column) == (230.1, 0)
    assert framing.decoder().feed(bytes.fromhex("55 09 23 01 00 01 49 98 00 07"), 0.0) == []


def test_try_explains_both_displays(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    raw = tmp_path / "some.raw"
    raw.write_bytes(bytes.fromhex("55 01 23 01 00 01 49 98 00 07"))
    assert main(["meters", "--try", str(_profile(tmp_path)), str(raw)]) == 0
    said = capsys.readouterr().out
    assert "says Hz point2" in said
    assert "shows 230.1 V AC voltage (one count 0.1); 49.98 Hz frequency (one count 0.01)" in said


@pytest.mark.parametrize(
    ("before", "after", "message"),
    [
        ("[second.bits]", "[second.bit]", "there is no 'bit' here"),
        ('"Hz point2"', '"Hz point2 column1"', "either [second], or words"),
        ("at = [7, 8]", "at = [7, 18]", "line 16: at must be bytes from 1 to 10"),
    ],
)
def test_a_wrong_second_display_is_refused(before: str, after: str, message: str, tmp_path: Path) -> None:
    path = _profile(tmp_path, TWO_DISPLAYS.replace(before, after))
    with pytest.raises(ProfileError) as refused:
        framing_of(f"frames:x?profile={path}").decoder()
    assert message in str(refused.value)
