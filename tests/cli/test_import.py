"""The import command: what it prints where, and its exit status."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.session import open_reader


@pytest.fixture
def table(tmp_path: Path) -> Path:
    """A table with a blank value and a marker."""
    path = tmp_path / "log.csv"
    path.write_text("time_s,v,mark\n0,12.60,\n0.3,,\n0.6,12.40,key-on\n")
    return path


def _words(table: Path, *more: str) -> list[str]:
    return ["import", str(table), "--time", "time_s", "--value", "v", "--quantity", "dc_voltage", "--unit", "V", *more]


def test_a_table_becomes_a_session_and_what_was_left_out_is_on_stderr(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "a.sqlite"
    assert main(_words(table, "--marker", "mark", "--out", str(out), "--set", "vehicle=van", "--label", "feed")) == 0
    shown = capsys.readouterr()
    assert shown.out == f"{out}: 2 readings (2 of 'feed'), 1 marker\n"
    assert "blank values of 'v', left out: 1 (line 3)" in shown.err
    assert "read as dc_voltage in V" in shown.err
    with open_reader(out) as reader:
        assert reader.details == {"vehicle": "van"}
        assert reader.channels[0].label == "feed"


def test_a_dry_run_shows_what_is_understood_and_makes_nothing(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(_words(table, "--dry-run")) == 0
    shown = capsys.readouterr().out
    for words in ("decimal mark '.'", "read as s", "line 2: 0.000000 s  12.6 V"):
        assert words in shown
    assert [file.name for file in tmp_path.iterdir()] == ["log.csv"]


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--time", "time_s", "--value", "x", "--quantity", "dc_voltage", "--out", "O"], "there are 'time_s', 'v'"),
        (["--time", "time_s", "--out", "O"], "--value COL is missing"),
        (["--out", "O"], "--time COL --value COL"),
        (["--time", "time_s", "--value", "v"], "--out SESSION"),
        (["--time", "time_s", "--value", "v", "--out", "O", "--set", "van"], "KEY=VALUE"),
    ],
)  # fmt: skip
def test_what_is_missing_is_one_line_and_exit_2(
    table: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], words: list[str], sentence: str
) -> None:
    out = str(tmp_path / "out.sqlite")
    assert main(["import", str(table), *(out if word == "O" else word for word in words)]) == 2
    shown = capsys.readouterr()
    assert sentence in shown.err
    assert shown.err.count("\n") == 1
    assert not Path(out).exists()


def test_an_absent_table_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(_words(tmp_path / "absent.csv", "--out", str(tmp_path / "a.sqlite"))) == 2
    assert "there is no file" in capsys.readouterr().err
