"""Checks that what is no table of sane size is one sentence, and takes little memory."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from meterlog.cli.main import main
from tests.exchange.table.traps.packed import Cell, workbook

NAMED = ("--time", "1", "--value", "2", "--quantity", "dc_voltage", "--unit", "V", "--time-unit", "s")


def _refused(path: Path, capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["import", str(path), *(words or NAMED), "--out", str(path.with_suffix(".sqlite"))]) == 2
    said = capsys.readouterr().err
    assert said.count("meterlog: ") == 1
    assert not path.with_suffix(".sqlite").exists()
    return said.splitlines()[-1]


@pytest.mark.parametrize("cells", [("0", "1e300", "2e300"), ("0", "1e12", "2e12"), ("1e300", "1e301")])
def test_times_beyond_a_hundred_years(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], cells: tuple[str, ...]
) -> None:
    path = tmp_path / "log.csv"
    path.write_text("time_s,v\n" + "".join(f"{cell},12.5\n" for cell in cells) * 4)
    said = _refused(path, capsys)
    assert any(words in said for words in ("stand in the order", "more than a hundred years", "goes back"))


def test_a_hundred_thousand_columns(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(",".join(str(i * 1000 + k) for k in range(100_000)) for i in range(3)) + "\n")
    assert main(["import", str(path), "--time", "x"]) == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_packed_workbook_that_unpacks_to_very_much(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(workbook({"Data": [["time_s", "v"], [0.0, 1.0]]}))
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as packed, packed.open("xl/bomb.xml", "w") as file:
        for _ in range(130):
            file.write(b" " * 10**6)
    assert path.stat().st_size < 10**6
    assert "unpacks to 130 MB" in _refused(path, capsys)


def test_parquet_that_unpacks_to_very_much(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.parquet"
    zeros = pa.nulls(18 * 10**6, pa.float64()).fill_null(0.0)
    pq.write_table(pa.table({"time": zeros}), path, row_group_size=len(zeros), use_dictionary=False, compression="zstd")
    assert path.stat().st_size < 10**6
    assert "unpacks to 144 MB at once" in _refused(
        path, capsys, "--time", "time", "--value", "time", "--quantity", "dc_voltage"
    )


@pytest.mark.parametrize("name", ["log.xlsx", "log.parquet", "log.arrow"])
def test_a_damaged_file_of_each_kind(tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str) -> None:
    path = tmp_path / name
    start = {"log.xlsx": b"PK\x03\x04", "log.parquet": b"PAR1", "log.arrow": b"ARROW1\0\0"}[name]
    path.write_bytes(start + bytes(range(256)) * 20)
    assert "damaged" in _refused(path, capsys)


def test_a_sheet_is_asked_for_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "log.xlsx"
    rows: list[list[Cell]] = [["time_s", "U [V]"], [0.5, 12.5], [1.0, 12.25]]
    path.write_bytes(workbook({"Run 1": rows, "Run 2": rows}))
    words = ("--time", "time_s", "--value", "U", "--quantity", "dc_voltage")
    assert "--sheet 'Run 1' or --sheet 'Run 2'" in _refused(path, capsys, *words)
    assert "has no sheet 'Run 3'; there are 'Run 1', 'Run 2'" in _refused(path, capsys, *words, "--sheet", "Run 3")
    assert main(["import", str(path), *words, "--sheet", "Run 2", "--out", str(tmp_path / "a.sqlite")]) == 0
