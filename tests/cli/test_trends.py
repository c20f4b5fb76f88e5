"""`meterlog trends`: from a folder of sessions, or their dataset, to the vans that got worse."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from meterlog.cli import main
from meterlog.fleet.collect import collect
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter


def _write(folder: Path, van: str, number: int, drop_v: float) -> None:
    time_s = np.arange(0.0, 8.0, 0.25)
    on = (time_s >= 2.0) & (time_s < 4.0)
    began = datetime(2026, 1, 5, tzinfo=UTC) + timedelta(days=10 * number)
    name = folder / f"{van.replace(' ', '')}-{number:02}.sqlite"
    with SessionWriter.create(name, started_at=began, details={"vehicle": van}) as writer:
        for label, value in (("pump feed", 12.0), ("pump ground drop", drop_v)):
            channel = writer.add_channel(label, Quantity.DC_VOLTAGE, driver="text")
            shown = np.where(on, round(value, 2), np.zeros(len(on)))
            writer.append_series(channel, Series(time_s, shown, np.full(32, 0.01, "f4"), np.zeros(32, "u2")))
        writer.add_marker(1.9, "key-on")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A van whose ground gets bad from April on, and a sound one, fourteen days each."""
    random = np.random.default_rng(1)
    made = tmp_path_factory.mktemp("sessions")
    for number in range(14):
        worn = 0.5 if number >= 8 else 0.0
        _write(made, "van 1", number, 0.05 + worn + random.normal(0, 0.01))
        _write(made, "van 2", number, 0.05 + random.normal(0, 0.01))
    return made


@pytest.fixture(scope="module")
def dataset(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same as a dataset."""
    made = tmp_path_factory.mktemp("dataset") / "fleet"
    collect([folder], made, workers=1)
    return made


def test_a_ground_that_got_worse_is_named_with_its_month(dataset: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trends", str(dataset)]) == 0
    said = capsys.readouterr().out
    assert "van 1\n  pump ground drop, drop while loaded: rose by 0.5" in said
    assert "between March and April 2026" in said
    assert "van 2\n" not in said


def test_a_folder_of_sessions_tells_the_same_as_their_dataset(
    folder: Path, dataset: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["trends", str(folder), "--json"]) == main(["trends", str(dataset), "--json"]) == 0
    first, second = capsys.readouterr().out.split("\n}\n")[:2]
    assert "van 1" in first
    assert first == second


def test_where_and_measure_choose(dataset: Path, capsys: pytest.CaptureFixture[str]) -> None:
    words = ["trends", str(dataset), "--where", "vehicle=VAN 2", "--measure", "drop while loaded", "--json"]
    assert main(words) == 0
    (trend,) = json.loads(capsys.readouterr().out)["trends"]
    found: dict[str, Any] = trend
    assert (found["vehicle"], found["verdict"], found["days"]) == ("van 2", "no change shown", 14)
    assert (found["change"], found["worse"]) == (None, None)
    assert 0.0 < found["seen"] < 0.2


def test_what_is_mistyped_is_said(dataset: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for words, said in (
        (["--where", "van"], "--where needs KEY=VALUE, for example"),
        (["--where", "vehicle=van 9"], "no such session in"),
        (["--measure", "charg"], "no session has the measure 'charg'; there are: "),
    ):
        assert main(["trends", str(dataset), *words]) == 2
        assert said in capsys.readouterr().err
