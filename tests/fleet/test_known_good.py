"""Of a fleet's captures some stand for all, and what was left out is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.fleet.asking import known_good as choosing
from meterlog.fleet.asking.known_good import known_good
from meterlog.fleet.collect import collect
from meterlog.signal.tolerance import LEAST
from tests.fleet.conftest import Write


@pytest.fixture(params=["folder", "dataset"])
def source(request: pytest.FixtureRequest, tmp_path: Path, write: Write) -> Path:
    """Make a folder, or a dataset of it, of as many vehicles as are enough; the first has three captures."""
    for number in range(LEAST):
        write(f"{number:02}")
    for month in (2, 3):
        write("00", month=month).rename(tmp_path / "sessions" / f"00-{month}.sqlite")
    write("00")
    if request.param == "folder":
        return tmp_path / "sessions"
    collect([tmp_path / "sessions"], tmp_path / "fleet")
    return tmp_path / "fleet"


def names(paths: list[str]) -> list[str]:
    return [Path(path).stem for path in paths]


def test_of_enough_vehicles_the_newest_capture_of_each_counts(source: Path) -> None:
    found, said = known_good(source, ())
    assert names(found) == ["00-3", *(f"{number:02}" for number in range(1, LEAST))]
    assert said == f"of 12 sessions in '{source}' 10 are taken, the newest of each of 10 vehicles"


def test_a_vehicle_in_another_spelling_is_the_same_one(source: Path, tmp_path: Path, write: Write) -> None:
    write("again", month=4, vehicle=" Van  00 ")
    if source.name == "fleet":
        collect([tmp_path / "sessions"], source)
    found, said = known_good(source, ())
    assert sorted(names(found)) == [*(f"{number:02}" for number in range(1, LEAST)), "again"]
    assert said.startswith("of 13 sessions")


def test_of_fewer_vehicles_all_captures_count(source: Path, tmp_path: Path) -> None:
    for path in (tmp_path / "sessions").glob("0[5-9].sqlite"):
        path.unlink()
    if source.name == "fleet":
        collect([tmp_path / "sessions"], source)
    found, said = known_good(source, ())
    assert names(found) == ["00-2", "00-3", "00", "01", "02", "03", "04"]
    assert not said


def test_of_very_many_the_newest_count(source: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choosing, "_MOST", 1)
    found, said = known_good(source, ())
    assert names(found) == ["00-3"]
    assert said.startswith("of 12 sessions")


def test_compare_says_what_was_left_out(source: Path, write: Write, capsys: pytest.CaptureFixture[str]) -> None:
    suspect = write("suspect", 9.0).rename(source.parent / "suspect.sqlite")
    assert main(["compare", "--good", str(source), str(suspect)]) == 0
    told = capsys.readouterr()
    assert "note: of 12 sessions in " in told.err
    assert "00-3" in told.out or "10 sessions" in told.out
