"""Meters that stay at their places: two make one drop, and one elsewhere is read at the same moments."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlog.cli import main
from meterlog.session import open_reader

Run = Callable[..., dict[str, Any]]
VAN = "sim:van?fault=relay:1.6&speed=20"
BATTERY, PLUG = f"{VAN}&at=battery_plus", f"{VAN}&at=plug_feed&interval_s=0.4"


def start(job: Run, *meters: str) -> None:
    words = [word for meter in meters for word in ("--meter", meter)]
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed", *words)


def test_two_meters_make_one_drop(job: Run, folder: Path) -> None:
    start(job, BATTERY, PLUG)
    reading = job("measure", "--at", "battery_plus", "--to", "plug_feed")["readings"][-1]
    assert reading["value"] == pytest.approx(7.1, abs=0.1)
    with open_reader(folder / reading["session"]) as reader:
        points = [channel.point for channel in reader.channels]
    assert points == ["battery_plus to battery_minus; key_on", "plug_feed to battery_minus; key_on"]


def test_a_meter_elsewhere_is_read_at_the_same_moments_and_once(job: Run) -> None:
    start(job, BATTERY, VAN.replace("speed=20", "speed=20.5"))
    readings = job("measure", "--at", "relay")["readings"]
    assert [reading["at"] for reading in readings] == ["relay", "battery_plus"]
    assert readings[0]["value"] == pytest.approx(6.8, abs=0.1)
    assert readings[1]["value"] == pytest.approx(12.37, abs=0.05)
    assert [one["at"] for one in job("measure", "--at", "plug_feed")["readings"]][2:] == ["plug_feed"]


def test_where_every_meter_stays_elsewhere_that_is_said(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, BATTERY, PLUG)
    assert main(["job", "measure", str(folder), "--at", "relay"]) == 2
    assert "name one without 'at='" in capsys.readouterr().err
    assert main(["job", "measure", str(folder), "--at", "relay", "--meter", VAN + "&at=plug_fed"]) == 2
    assert "near it: plug_feed" in capsys.readouterr().err
