"""Checks the report of a job: complaint, what was found, what was put right, before and after, what was left out."""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.cli import main
from tests.job.vehicle import Vehicle

Run = Callable[..., dict[str, Any]]


def text_of(page: Path) -> str:
    section = page.read_text("utf-8").partition('<section class="job">')[2].partition("</section>")[0]
    return re.sub(r"\s+", " ", unescape(re.sub(r"<[^>]+>", " ", section)))


def test_the_customer_reads_what_was_found_put_right_and_proved(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    vehicle = Vehicle(load_circuit("pump-feed"), {"relay": 1.6})
    job("start", "--complaint", "cranks, does <not> start", "--circuit", "pump-feed", "--set", "customer=A. Customer")
    now = job("measure", "--skip")
    while now["next"]["kind"] == "measure":
        now = job("measure", "--value", vehicle.read(now["next"]))
    vehicle.extra_ohm.clear()
    now = job("repaired", "relay", "--price", "12.5", "--minutes", "10", "--note", "contacts burnt")
    while now["next"]["kind"] == "prove":
        now = job("prove", "--value", vehicle.read(now["next"]))
    page = folder / "report.html"
    assert main(["job", "report", str(folder), "--out", str(page)]) == 0
    assert "needs no network" in capsys.readouterr().out
    said = text_of(page)
    for wanted in (
        "complaint cranks, does <not> start",
        "customer A. Customer",
        "state proved",
        "relay 12.5 10 min contacts burnt",
        "Together: parts 12.5, 10 min of work.",
        "✓ proved",
        "before, ",
        "a sound circuit shows",
        "Refused or out of reach: from fuse_out to battery_minus at key-on",
    ):
        assert wanted in said, wanted
    assert "<not>" not in page.read_text("utf-8")


def test_a_missing_session_is_said_and_its_reading_stays(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    session = job("measure", "--at", "plug_feed", "--meter", "sim:healthy-prime?speed=8")["readings"][0]["session"]
    (folder / session).unlink()
    page = folder / "report.html"
    assert main(["job", "report", str(folder), "--out", str(page)]) == 0
    assert session in capsys.readouterr().err
    assert f"recorded in {session}" in text_of(page)


def test_a_report_never_takes_the_place_of_the_job(job: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job("start", "--complaint", "cranks, does not start")
    assert main(["job", "report", str(folder), "--out", str(folder / "job.toml")]) == 2
    assert "must end in .html" in capsys.readouterr().err
