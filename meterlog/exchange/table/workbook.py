"""A workbook's sheet as lines of a table, its cells separated by tabs."""

from __future__ import annotations

import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from pathlib import Path

from meterlog.errors import TableError
from meterlog.exchange.table.question import Question

MAGIC = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
"""Says how workbooks begin: packed XML, and the older compound files."""
MOST_BYTES = 120 * 10**6
"""Of a workbook unpacked: some million rows of two columns, read within 300 MB. Beyond it it may be a bomb."""


def sheet_lines(path: Path, sheet: str | None) -> tuple[str, Iterator[str]]:
    """The name of the sheet that holds the table, and its lines.

    Raises:
        TableError: the file is damaged, too large, or has no such sheet.
        Question: more than one sheet has rows.
    """
    from python_calamine import CalamineError, CalamineWorkbook

    _check_size(path)
    try:
        book = CalamineWorkbook.from_path(str(path))
        names = [sheet] if sheet is not None else book.sheet_names
        if sheet is not None and sheet not in book.sheet_names:
            there = ", ".join(f"'{name}'" for name in book.sheet_names)
            raise TableError(f"'{path.name}' has no sheet '{sheet}'; there are {there}")
        filled = [name for name in names if book.get_sheet_by_name(name).total_height > 1]
        if not filled:
            raise TableError(f"no sheet of '{path.name}' has rows")
        if len(filled) > 1:
            choices = " or ".join(f"--sheet '{name}'" for name in filled)
            raise Question(
                f"{len(filled)} sheets of '{path.name}' have rows: say which with {choices}", "sheet", tuple(filled)
            )
        rows = book.get_sheet_by_name(filled[0]).iter_rows()
    except CalamineError as error:
        raise TableError(f"'{path.name}' is damaged or no workbook ({error})") from None
    return filled[0], ("\t".join(map(_text, row)) + "\n" for row in rows)


def _check_size(path: Path) -> None:
    try:
        size = path.stat().st_size
        if zipfile.is_zipfile(path):
            with zipfile.ZipFile(path) as packed:
                size = max(size, sum(info.file_size for info in packed.infolist()))
    except (OSError, zipfile.BadZipFile) as error:
        raise TableError(f"'{path}' cannot be read: {error}") from None
    if size > MOST_BYTES:
        raise TableError(
            f"'{path.name}' unpacks to {size / 1e6:.0f} MB, more than the {MOST_BYTES / 1e6:.0f} MB that are read of a"
            " workbook: save its sheet as CSV and import that"
        )


def _text(cell: object) -> str:
    """A cell as a table of text would have it."""
    if isinstance(cell, bool):
        return str(int(cell))
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < 1e15 else repr(cell)
    if isinstance(cell, datetime):
        return cell.isoformat(" ")
    if isinstance(cell, timedelta):
        seconds, rest = divmod(cell // timedelta(microseconds=1), 10**6)
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{rest:06d}"
    if isinstance(cell, date | time):
        return cell.isoformat()
    return " ".join(str(cell).split("\t")).replace("\r", " ").replace("\n", " ").replace('"', "'")
