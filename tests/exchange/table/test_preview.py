"""A table of which nothing is known is shown as it would become, with what is in doubt and the command to type."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.session import open_reader

PLAIN = (
    "Report of today\nTime (ms);U [mV];Speed (km/h);Ignition;Note\n0;12100;50;off;\n500;12200;50;off;\n"
    "1000;12150;51;on;key on\n1500;11800;52;on;\n"
)


def _shown(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["import", *words]) == 0
    return capsys.readouterr().out


def test_the_file_alone_shows_columns_rows_and_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_text(PLAIN)
    shown = _shown(capsys, str(path))
    for words in (
        "utf-8, columns separated by semicolon", "header in line 2", "value   dc_voltage in mV",
        "left out: numbers in km/h", "state   off, on", "marker  words on some rows", "line 3: 0.000000 s  12.1 V",
        "4 of 4 rows would be kept", "Nothing is in doubt",
    ):  # fmt: skip
        assert words in shown
    assert [file.name for file in tmp_path.iterdir()] == ["log.csv"]
    command = shlex.split(shown.splitlines()[-1])
    assert main(command[1:]) == 0
    with open_reader(tmp_path / "log.sqlite") as reader:
        assert reader.series(1).value.tolist() == [12.1, 12.2, 12.15, 11.8]
        assert reader.series(1).time_s.tolist() == [0.0, 0.5, 1.0, 1.5]
        assert {m.name for m in reader.markers} == {"key on", "Ignition: on"}


def test_yes_takes_what_is_in_no_doubt(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_text(PLAIN)
    assert "4 readings" in _shown(capsys, str(path), "--yes")
    with open_reader(tmp_path / "log.sqlite") as reader:
        assert len(reader.series(1)) == 4


def test_yes_refuses_a_doubt_and_takes_its_answer(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time,U [V]\n0,12.5\n100,12.6\n200,12.4\n")
    assert main(["import", str(path), "--yes"]) == 2
    said = capsys.readouterr().err
    assert "does not say what its numbers count: give --time-unit ms" in said
    assert said.count("\n") == 1
    assert "3 readings" in _shown(capsys, str(path), "--yes", "--time-unit", "ms")


def test_each_doubt_is_listed_with_the_answer_taken(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_text("Date;voltage\n" + "".join(f"01/02/2024 12:00:0{i};12,{i}\n" for i in range(5)) * 2)
    shown = _shown(capsys, str(path))
    for words in ("'voltage' does not state its unit", "1 February 2024 or as 2 January 2024", "the time goes back"):
        assert words in shown
    assert shown.splitlines()[-1].endswith(
        "--quantity dc_voltage --unit V --date-order dmy --restarts parts --out " + str(path.with_suffix(".sqlite"))
    )


def test_where_nothing_tells_the_time_the_interval_is_left_to_fill_in(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "log.csv"
    path.write_text("U [V]\n12.5\n12.6\n")
    shown = _shown(capsys, str(path))
    assert "no column holds times: give the time between rows with --interval S" in shown
    assert "--interval S" in shown.splitlines()[-1]


def test_what_is_no_table_is_one_sentence(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear all,\nthe van does not start.\n")
    assert main(["import", str(path)]) == 2
    assert "no table is found in the first 2 lines of 'letter.txt'; the first is 'Dear all,'" in capsys.readouterr().err
