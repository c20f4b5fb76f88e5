"""The live view of `record` counts what happened until a person has seen it."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.capture import Notice, Recorder, meter_setups
from meterlog.cli.terminal.record_screen import ScreenDisplay
from meterlog.events import Event
from meterlog.reading import Quantity
from meterlog.session import SessionWriter


def test_what_was_not_seen_is_counted_until_it_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm")
    recorder = Recorder(meter_setups(["sim:healthy-prime"]), SessionWriter.create(tmp_path / "a.sqlite"))
    recorder.start()
    display = ScreenDisplay("a.sqlite", "", keys=True, sound=False)

    def drawn() -> str:
        capsys.readouterr()
        display.refresh(recorder, typing)
        return capsys.readouterr().out

    typing: str | None = ""  # drawn at once
    for start_s in (1.0, 2.0):
        display.notice(Notice("event", start_s, "", 1, Quantity.DC_VOLTAGE, Event("dropout", 1, start_s, start_s)))
        assert f"at {start_s} s" in drawn()
    assert "2 not seen: last dropout at 2.0 s" in drawn()
    display.seen()
    assert "not seen" not in drawn()
    display.close()
    recorder.discard()
