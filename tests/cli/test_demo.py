"""demo: a whole job that checks itself and says so in its exit status (`python -m tests.bench.demo` runs it whole)."""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog_drivers.simulated import demo
from meterlog_drivers.simulated.job_commands import free_folder


def van(fault: str) -> contextlib.AbstractContextManager[tuple[str, demo.Tell]]:
    """A van that the job itself moves, played fast, in place of the emulated one on a port."""

    @contextlib.contextmanager
    def emulated() -> Iterator[tuple[str, demo.Tell]]:
        yield f"sim:van?fault={fault}&seed={demo.SEED}&speed=10", lambda _: None

    return emulated()


@pytest.mark.slow
def test_a_whole_job_is_shown_in_lines_that_are_not_said_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "_emulated", lambda: van(demo.FAULT))
    monkeypatch.setattr(demo, "WAIT_S", 3.0)
    assert main(["demo", str(tmp_path / "job")]) == 0
    printed = capsys.readouterr().out
    for said in ("job start", "job look", "job measure", "job repaired", "job prove", "proved: ", "for the customer"):
        assert said in printed
    assert (tmp_path / "job" / "report.html").is_file()
    minds = re.findall(r"mind: .*", printed)
    assert len(minds) == len(set(minds))
    before = printed[: printed.index("$ meterlog job start")]
    assert before.count("mind:") <= 2


@pytest.mark.slow
def test_a_part_that_was_not_at_fault_fails_the_demonstration(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "_emulated", lambda: van("fuse"))
    monkeypatch.setattr(demo, "WAIT_S", 1.0)
    assert main(["demo", str(tmp_path / "job")]) == 1
    printed = capsys.readouterr().out
    assert "FAILED" in printed
    assert "Try next" not in printed


def test_a_meter_that_does_not_start_fails_the_demonstration(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(demo, "METERLOG", (sys.executable, "-c", "pass"))
    assert main(["demo", str(tmp_path / "job")]) == 1
    assert "the simulated meter did not start" in capsys.readouterr().out


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "file").write_text("in the way", "utf-8")
    assert main(["demo", str(tmp_path / "file")]) == 2
    assert "a file is there" in capsys.readouterr().err


def test_a_folder_that_is_there_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    assert free_folder(tmp_path / "job") == tmp_path / "job-2"
