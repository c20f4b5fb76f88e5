"""The export command, and import of what it wrote."""

from __future__ import annotations

import io
import re
import sys
from pathlib import Path

import numpy as np
import pytest

from meterlog.cli import main
from meterlog.cli.terminal import progress
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """Three readings and a marker."""
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        ones = np.ones(3, np.float32)
        writer.append_series(channel, Series(np.arange(3.0), np.array([1.0, 2.0, 3.0]), ones, np.zeros(3, np.uint16)))
        writer.add_marker(1.0, "key-on")
    return path


@pytest.mark.parametrize("name", ["t.csv", "t.tsv", "t.parquet"])
def test_either_format_comes_back(session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    out, again = tmp_path / name, tmp_path / "b.sqlite"
    assert main(["export", str(session), "--out", str(out)]) == 0
    assert capsys.readouterr().out == f"{out}: 3 readings, 1 marker\n"
    assert main(["import", str(out), "--out", str(again), "--set", "vehicle=van"]) == 0
    with open_reader(again) as reader:
        assert reader.series(1).value.tolist() == [1.0, 2.0, 3.0]
        assert [marker.name for marker in reader.markers] == ["key-on"]
        assert reader.details == {"vehicle": "van"}


def test_decimal_commas_bring_semicolons(session: Path, tmp_path: Path) -> None:
    assert main(["export", str(session), "--out", str(tmp_path / "t.csv"), "--decimal", ","]) == 0
    assert (tmp_path / "t.csv").read_text().splitlines()[2].startswith("1,000000;1;feed;2")


def test_an_exported_table_is_also_read_like_any_other(session: Path, tmp_path: Path) -> None:
    out, again = tmp_path / "t.csv", tmp_path / "b.sqlite"
    assert main(["export", str(session), "--out", str(out)]) == 0
    words = ["--time", "time_s", "--value", "value", "--marker", "marker", "--quantity", "dc_voltage", "--unit", "V"]
    assert main(["import", str(out), *words, "--out", str(again)]) == 0
    with open_reader(again) as reader:
        assert reader.series(1).value.tolist() == [1.0, 2.0, 3.0]


def test_refusals_are_one_line(session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "t.csv").write_text("mine")
    for words, sentence in (
        (["--out", str(tmp_path / "t.csv")], "--replace"),
        (["--out", str(tmp_path / "t.xyz")], "does not end in .csv or .parquet"),
        (["--out", str(tmp_path / "u.csv"), "--delimiter", "#"], "comma, semicolon, tab or bar"),
        (["--out", str(tmp_path / "u.parquet"), "--decimal", ","], "apply to CSV files only"),
    ):
        assert main(["export", str(session), *words]) == 2
        shown = capsys.readouterr().err
        assert sentence in shown
        assert shown.count("\n") == 1
    assert (tmp_path / "t.csv").read_text() == "mine"


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_many_sessions_become_a_folder_that_mirrors_theirs(
    session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], suffix: str
) -> None:
    folder = tmp_path / "recordings"
    (folder / "van" / "may").mkdir(parents=True)
    for name in ("a.sqlite", "van/b.sqlite", "van/may/c.sqlite"):
        (folder / name).write_bytes(session.read_bytes())
    (folder / "notes.txt").write_text("no session")
    out = folder / "tables"
    command = ["export", str(folder), "--out", str(out), "--format", suffix]
    assert main(command) == 0
    made = sorted(path.relative_to(out).as_posix() for path in out.rglob("*") if path.is_file())
    assert made == [f"a.{suffix}", f"van/b.{suffix}", f"van/may/c.{suffix}"]
    assert capsys.readouterr().out.count("3 readings, 1 marker") == 3
    again = tmp_path / "again.sqlite"
    assert main(["import", str(out / f"van/may/c.{suffix}"), "--out", str(again)]) == 0
    with open_reader(again) as reader:
        assert reader.series(1).value.tolist() == [1.0, 2.0, 3.0]
    assert main(command) == 2
    assert "exists already: give another name, or --replace" in capsys.readouterr().err
    assert main([*command, "--replace"]) == 0


def test_a_session_that_fails_among_many_is_named_and_the_others_are_made(
    session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    broken = tmp_path / "broken.sqlite"
    broken.write_bytes(session.read_bytes()[:300])
    out = tmp_path / "tables"
    assert main(["export", str(broken), str(session), "--out", str(out)]) == 2
    said = capsys.readouterr().err
    assert said.startswith("meterlog: 1 of 2 sessions could not be exported, the others were: ")
    assert "broken.sqlite" in said
    assert said.count("\n") == 1
    assert [path.name for path in out.iterdir()] == ["a.csv"]


def test_many_sessions_want_a_folder_with_a_name_for_each(
    session: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    twin = tmp_path / "other" / session.name
    twin.parent.mkdir()
    twin.write_bytes(session.read_bytes())
    empty = tmp_path / "empty"
    empty.mkdir()
    for words, sentence in (
        ([str(session), str(twin), "--out", str(tmp_path / "t.csv")], "--out names a folder"),
        ([str(session), str(twin), "--out", str(tmp_path / "t")], "would both become"),
        ([str(empty), "--out", str(tmp_path / "t")], "there is no session in"),
    ):
        assert main(["export", *words]) == 2
        said = capsys.readouterr().err
        assert sentence in said
        assert said.count("\n") == 1
    assert not (tmp_path / "t").exists()


def test_a_long_export_says_how_far_it_is_on_a_terminal_only(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    terminal = io.StringIO()
    monkeypatch.setattr(progress, "_AFTER_S", 0.0)
    monkeypatch.setattr(progress, "_EACH_S", 0.0)
    monkeypatch.setattr(sys, "__stderr__", terminal)
    with progress.progress("exporting a", 200) as told:
        told(50)
    assert terminal.getvalue() == ""
    monkeypatch.setattr(terminal, "isatty", lambda: True)
    with progress.progress("exporting \x1b[2Ja", 200) as told:
        told(50)
        told(200)
    assert re.findall(r"(\d+) %", terminal.getvalue()) == ["25", "100"]
    assert "\x1b[2J" not in terminal.getvalue()
    assert terminal.getvalue().endswith("\r\x1b[K")
    assert capsys.readouterr() == ("", "")
