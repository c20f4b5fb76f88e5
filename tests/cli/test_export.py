"""The export command, and import of what it wrote."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from meterlog.cli import main
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
