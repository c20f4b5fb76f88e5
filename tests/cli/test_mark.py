"""The mark command."""

from __future__ import annotations

import re
import time
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader


def test_mark_into_a_running_and_then_the_finished_session(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, monotonic_start_s=time.monotonic() - 50.0) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(time.monotonic(), 12.0, Quantity.DC_VOLTAGE)])
        assert main(["mark", str(path), "key-on"]) == 0
        assert "marker 'key-on' at 50." in capsys.readouterr().out
    assert main(["mark", str(path), "crank"]) == 2
    assert "--at SECONDS" in capsys.readouterr().err
    assert main(["mark", str(path), "crank", "--at", "1.5"]) == 0
    with open_reader(path) as reader:
        assert [marker.name for marker in reader.markers] == ["crank", "key-on"]


def test_mark_into_nothing_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["mark", str(tmp_path / "absent.sqlite"), "crank"]) == 2
    assert "there is no file" in capsys.readouterr().err


def test_the_moment_is_taken_as_analyze_shows_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path, monotonic_start_s=0.0) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(float(t), 12.0, Quantity.DC_VOLTAGE, 0.01) for t in range(100)])
    assert main(["mark", str(path), "wiggle", "--at", "1:05.5", "--note", "left side"]) == 0
    assert main(["analyze", str(path)]) == 0
    assert re.search(r"1:05\.50  \d\d:\d\d:\d\d +-- wiggle: left side", capsys.readouterr().out)
