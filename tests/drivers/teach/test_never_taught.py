"""Checks that what a taught meter shows beyond its lesson is said, kept, and never read."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.session import open_reader
from tests.conftest import write_capture

PROFILE = """
kind = "frames"
taught = true
[frame]
length = 5
start = [0xAB]
end = [0x0D]
[number]
digits = "bcd"
at = [2, 3]
[[map]]
at = 4
unknown = "refused"
values = { "0x01" = "dc V point2" }
"""


def test_it_is_said_once_its_bytes_are_kept_and_no_reading_comes_of_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    profile, out = tmp_path / "taught.toml", tmp_path / "a.sqlite"
    profile.write_text(PROFILE)
    taught, never = "ab 12 34 01 0d", "ab 12 34 02 0d"
    frames = ((n * 0.3, bytes.fromhex(never if n in (4, 5, 7) else taught)) for n in range(10))
    capture = write_capture(tmp_path / "a.raw", frames)
    address = f"replay:{capture}?decoder=frames&profile={profile}&speed=20"
    assert main(["record", "--meter", address, "--out", str(out), "--plain"]) == 0
    said = capsys.readouterr().out
    assert said.count("shows something that was never taught: teach it") == 1
    with open_reader(out) as reader:
        assert reader.details["never_taught_1"] == never
        assert [round(value, 2) for value in reader.series(1).value] == [12.34] * 7
