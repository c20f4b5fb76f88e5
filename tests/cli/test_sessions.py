"""The sessions command: newest first, filtered, sorted, damaged files shown as such."""

from __future__ import annotations

import json
import os
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli import main
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three sessions, one of them growing, a damaged file, and a file of another kind."""
    for day, vehicle, count in ((1, "red van", 5), (2, "hatchback", 3)):
        path = tmp_path / f"{day}.sqlite"
        with SessionWriter.create(
            path,
            started_at=datetime(2026, 1, day, tzinfo=UTC),
            details={"vehicle": vehicle, **({"job": "starts-badly"} if day == 2 else {})},
        ) as w:
            channel = w.add_channel(
                "feed" if day == 1 else "pump", Quantity.DC_VOLTAGE if day == 1 else Quantity.DC_CURRENT
            )
            zeros = np.zeros(count)
            w.append_series(
                channel, Series(np.linspace(0.0, count - 1.0, count), zeros, zeros.astype("f4"), zeros.astype("u2"))
            )
            w.add_marker(1.0, "crank")
    (tmp_path / "broken.sqlite").write_bytes(b"no session at all")
    (tmp_path / "notes.txt").write_text("hello")
    return tmp_path


def _listed(folder: Path, capsys: pytest.CaptureFixture[str], *words: str) -> list[str]:
    assert main(["sessions", str(folder), "--json", *words]) == 0
    return [Path(row["session"]).name for row in json.loads(capsys.readouterr().out)]


def test_newest_first_with_everything_one_wants_to_know(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sessions", str(folder)]) == 0
    heading, first, second, broken = capsys.readouterr().out.splitlines()
    assert heading.split()[:5] == ["started", "duration", "readings", "markers", "ended"]
    for words in ("2.0 s", " 3 ", "clean", "pump (DC current)", "hatchback, job starts-badly", "2.sqlite"):
        assert words in first
    assert "1.sqlite" in second
    assert broken.startswith("cannot be read: ")


def test_filters_and_sorts(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert _listed(folder, capsys) == ["2.sqlite", "1.sqlite", "broken.sqlite"]
    assert _listed(folder, capsys, "--set", "vehicle=van") == []
    assert _listed(folder, capsys, "--set", "vehicle=Red van") == ["1.sqlite"]
    assert _listed(folder, capsys, "--with", "PUMP") == ["2.sqlite"]
    assert _listed(folder, capsys, "--quantity", "dc_voltage") == ["1.sqlite"]
    assert _listed(folder, capsys, "--sort", "readings") == ["1.sqlite", "2.sqlite", "broken.sqlite"]
    assert _listed(folder, capsys, "--sort", "vehicle") == ["2.sqlite", "1.sqlite", "broken.sqlite"]
    assert _listed(folder, capsys, "--limit", "1") == ["2.sqlite"]


def test_a_growing_session_is_shown_as_recording(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with SessionWriter.create(folder / "now.sqlite"):
        assert main(["sessions", str(folder)]) == 0
        assert "recording" in capsys.readouterr().out.splitlines()[1]


def test_an_absent_folder_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sessions", str(tmp_path / "absent")]) == 2
    assert "there is no folder" in capsys.readouterr().err
    assert main(["sessions", str(tmp_path)]) == 0
    assert capsys.readouterr().out.startswith("no sessions in")


def test_a_limit_below_one_is_refused(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sessions", str(folder), "--limit", "-1"]) == 2
    assert "--limit must be a whole number, 1 or more" in capsys.readouterr().err


def test_a_session_under_any_name_is_listed(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (folder / "2.sqlite").rename(folder / "hunt")
    assert _listed(folder, capsys) == ["hunt", "1.sqlite", "broken.sqlite"]


def test_sessions_one_folder_below_are_pointed_out(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sessions", str(folder.parent)]) == 0
    assert f"there are some in '{folder}'" in capsys.readouterr().out


def test_what_killed_programs_left_is_named_and_cleared_and_nothing_else(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    left = [
        folder / ".feed.csv.123.part",
        folder / ".a.sqlite.9.part",
        folder / ".a.sqlite.9.part-wal",
        folder / "b.db",
    ]
    kept = [folder / "empty.txt", folder / ".part", folder / "fresh.sqlite", folder / ".new.csv.7.part"]
    for path in (*left, *kept):
        path.write_bytes(b"half" if path.suffix == ".part" else b"")
    for path in (*left, *kept[:2]):
        os.utime(path, (time.time() - 3600,) * 2)
    before = {path.name for path in folder.iterdir()}
    assert main(["sessions", str(folder)]) == 0
    last = capsys.readouterr().out.splitlines()[-1]
    assert ".a.sqlite.9.part, .a.sqlite.9.part-wal, .feed.csv.123.part and 1 more" in last
    assert f"meterlog sessions {folder} --clear" in last
    assert main(["sessions", str(folder), "--clear"]) == 0
    assert {path.name for path in folder.iterdir()} == before - {path.name for path in left}
    assert "b.db" in capsys.readouterr().out
    assert main(["sessions", str(folder)]) == 0
    assert "left by killed" not in capsys.readouterr().out


def test_an_empty_file_that_a_recorder_is_just_making_is_not_cleared(folder: Path) -> None:
    with SessionWriter.create(folder / "now.sqlite") as writer:
        os.utime(writer.path, (time.time() - 3600,) * 2)
        assert main(["sessions", str(folder), "--clear"]) == 0
        assert writer.path.exists()


def test_a_quantity_that_does_not_exist_makes_the_file_damaged(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    import sqlite3

    with sqlite3.connect(folder / "1.sqlite") as db:
        db.execute("UPDATE channel SET quantity = 'smell'")
    db.close()
    assert main(["sessions", str(folder)]) == 0
    assert "1.sqlite' is damaged" in capsys.readouterr().out
