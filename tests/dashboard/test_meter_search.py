"""Checks that the page offers the meters that the user saved."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog_dashboard.record.meter_search import found_list, saved


@pytest.fixture
def settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    path = tmp_path / "settings.toml"
    monkeypatch.setenv("METERLOG_SETTINGS", str(path))
    return path


def test_saved_meters_are_offered_first_with_all_their_options(settings: Path) -> None:
    assert main(["meters", "--save", "clamp", "sim:healthy-prime?seed=3&label=clamp"]) == 0
    assert settings.is_file()
    shown = str(found_list(saved()))
    assert "Use sim:healthy-prime?seed=3&label=clamp" in shown
    assert "your meter 'clamp'" in shown


def test_damaged_settings_are_one_sentence_there(settings: Path) -> None:
    settings.write_text("quiet = 3")
    assert "line 1: 'quiet' must be true or false" in str(found_list(saved()))
