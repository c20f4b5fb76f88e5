"""Checks that proved jobs of a folder change the next job's fault rates, and nothing else does."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from meterlog.circuit.model.circuit_file import template_text
from meterlog.cli import main
from meterlog.job.experience import experience
from meterlog.job.job_file import undo

MENDED = """\
format = 1
complaint = "cranks, does not start"
circuit = "pump-feed.toml"
meters = [{meters}]

[[step]]
step = "measured"
quantity = "voltage_drop"
at = "relay"
value = 1.6

[[step]]
step = "repaired"
part = "relay"

[[step]]
step = "measured"
quantity = "voltage_drop"
at = "relay"
value = {now}
"""
"""A job whose relay lost 1.6 V and was replaced."""


@pytest.fixture
def jobs(tmp_path: Path) -> Path:
    """A folder with two proved jobs of a relay, one that is not proved, a simulated one and a damaged one."""

    def mend(name: str, now: float, meters: str = "") -> None:
        (tmp_path / name).mkdir()
        (tmp_path / name / "pump-feed.toml").write_bytes(template_text("pump-feed"))
        (tmp_path / name / "job.toml").write_text(MENDED.format(now=now, meters=meters))

    mend("first", 0.05)
    mend("second", 0.04)
    mend("not proved", 1.5)
    mend("simulated", 0.05, '"sim:van"')
    mend("emulated", 0.05, '"status14:/dev/pts/3?label=feed"')
    (tmp_path / "damaged").mkdir()
    (tmp_path / "damaged" / "job.toml").write_text("format = 9")
    return tmp_path


def start(jobs: Path, capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    capsys.readouterr()
    where = ["start", str(jobs / "next"), "--complaint", "cranks, does not start", "--circuit", "pump-feed"]
    assert main(["job", *where, *words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


def chance(now: dict[str, Any]) -> float:
    found: float = next(h["probability"] for h in now["diagnosis"]["hypotheses"] if h["part"] == "relay")
    return found


def test_proved_jobs_change_the_rates_of_the_next_one_which_says_so(
    jobs: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    now = start(jobs, capsys)
    assert now["rates"] == "from 2 closed jobs of yours, beside guesses that weigh as 20 jobs"
    assert main(["job", "status", str(jobs / "next")]) == 0
    assert "fault rates: from 2 closed jobs of yours" in capsys.readouterr().out
    alone = shutil.move(jobs / "next", jobs / "elsewhere" / "next")
    assert main(["job", "status", str(alone), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["diagnosis"] == now["diagnosis"]
    guessed = start(jobs, capsys, "--no-experience")
    assert "guesses" in guessed["rates"]
    assert chance(now) > 1.2 * chance(guessed)


def test_what_was_worked_out_is_remembered_until_the_job_changes(jobs: Path) -> None:
    assert experience(jobs).source.startswith("from 2 closed jobs")
    kept = {path: path.stat().st_mtime_ns for path in jobs.glob("*/.job.proved")}
    assert {path.parent.name for path in kept} == {"first", "second", "not proved"}
    undo(jobs / "first")
    assert experience(jobs).source.startswith("from 1 closed job of yours")
    assert [path.parent.name for path in kept if path.stat().st_mtime_ns != kept[path]] == ["first"]


@pytest.mark.parametrize(
    ("rates", "said"),
    [
        ("relay_contact = 2", "'source' must be text in quotes"),
        ('source = "mine"\nrelay = 2', "'relay' is not a kind of part"),
        ('source = "mine"\nfuse = -1', "line 4: 'fuse' must be a number above 0"),
        ('source = "mine"\nfuse = nan', "line 4: 'fuse' must be a number above 0"),
    ],
)
def test_damaged_rates_are_named(rates: str, said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "job.toml").write_text(f"format = 1\n[rates]\n{rates}\n")
    assert main(["job", "status", str(tmp_path)]) == 2
    assert said in capsys.readouterr().err
