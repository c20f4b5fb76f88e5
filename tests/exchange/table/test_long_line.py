"""A file without line ends is refused before it fills the memory."""

from __future__ import annotations

from pathlib import Path

import pytest

from meterlog.errors import TableError
from meterlog.exchange.table import text_rows


def test_a_line_that_no_table_has_is_one_sentence(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(text_rows, "LONGEST_LINE", 1000)
    monkeypatch.setattr(text_rows, "_READ_CHARACTERS", 100)
    path = tmp_path / "endless.csv"
    path.write_text("time,volts\n0,1\n1," + "7" * 5000 + "\n2,3\n")
    lines = text_rows.TextLines(path, "utf-8")
    assert [next(lines), next(lines)] == ["time,volts\n", "0,1\n"]
    with pytest.raises(TableError, match=r"endless\.csv' has a line of more than .* characters: not a table"):
        next(lines)


def test_lines_of_every_kind_of_end_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.csv"
    path.write_bytes(b"a\r\nb\rc\n\nd")
    assert list(text_rows.TextLines(path, "utf-8")) == ["a\r\n", "b\r", "c\n", "\n", "d"]
