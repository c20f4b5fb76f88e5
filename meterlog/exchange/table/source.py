"""A file as lines of text, whatever it is: text in any encoding, a workbook, Parquet or Arrow."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import islice
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.exchange.table import workbook
from meterlog.exchange.table.encoding import find_encoding
from meterlog.exchange.table.forms import find_form
from meterlog.exchange.table.layout import as_delimiter, head_of
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.text_rows import TextLines

Lines = Callable[[], Iterator[str]]


@dataclass(frozen=True, slots=True)
class Source:
    """Where the lines of a table come from.

    Attributes:
        path: the file.
        kind: what it is, for a person: the encoding of a text.
        lines: gives the lines from the first on, line ends kept; may be called again.
        doubts: what of that was guessed, one sentence each.
        delimiter: what separates the cells, where that is known.
        exact: whether a row that lacks a cell has its others in wrong places.
        translated: how the lines differ from those in the file, for a person.
    """

    path: Path
    kind: str
    lines: Lines
    doubts: tuple[str, ...] = ()
    delimiter: str | None = None
    exact: bool = False
    translated: str = ""


def open_source(path: Path, options: ImportOptions) -> Source:
    """Look what a file is, and give its lines as those of a plain table.

    Raises:
        TableError: it is absent, empty, or cannot be read.
    """
    source = _whole_source(path, options)
    if options.lines is None:
        return source if source.delimiter else dressed(source, options.delimiter)
    first, last = line_range(options.lines)
    whole = source.lines
    some = replace(source, lines=lambda: _between(whole(), first, last))
    return some if some.delimiter else dressed(some, options.delimiter)


def line_range(text: str) -> tuple[int, int | None]:
    """The first and the last line of `A-B`, the last one open in `A-`.

    Raises:
        UsageError: it is no such range.
    """
    first, dash, last = text.partition("-")
    if not (first.isdecimal() and dash and (last.isdecimal() or not last)) or (last and int(last) < int(first)):
        raise UsageError(f"--lines must be two line numbers as 1-200, or 201- to the end, not '{text}'")
    return int(first), int(last) if last else None


def _between(lines: Iterator[str], first: int, last: int | None) -> Iterator[str]:
    """Some lines; those before them become blank, so that the numbers of the lines stay."""
    return ("\n" if number < first else line for number, line in enumerate(islice(lines, last), 1))


def _whole_source(path: Path, options: ImportOptions) -> Source:
    start = _first_bytes(path)
    if start.startswith(workbook.MAGIC):
        sheet, _ = workbook.sheet_lines(path, options.sheet)
        return Source(path, f"sheet '{sheet}'", lambda: workbook.sheet_lines(path, sheet)[1], delimiter="\t")
    if start.startswith((PARQUET, ARROW)):
        from meterlog.exchange.table.arrow_file import arrow_kind, arrow_lines

        return Source(path, arrow_kind(path), lambda: arrow_lines(path), delimiter="\t")
    return text_source(path, options.encoding)


PARQUET, ARROW = b"PAR1", b"ARROW1"
"""Says how these files begin."""


def is_text(path: Path) -> bool:
    """Tell whether a file is neither a workbook nor Parquet nor Arrow."""
    return not _first_bytes(path).startswith((*workbook.MAGIC, PARQUET, ARROW))


def _first_bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(8)
    except OSError:
        return b""  # what is wrong is said where it is read as text


def text_source(path: Path, encoding: str | None = None) -> Source:
    """A file that is text, its lines as they stand.

    Raises:
        TableError: it is absent, empty, or cannot be read.
    """
    found = find_encoding(path) if encoding is None else None
    name = encoding or (found.name if found else "")
    return Source(path, name, lambda: TextLines(path, name), (found.doubt,) if found and found.doubt else ())


def dressed(source: Source, delimiter: str | None) -> Source:
    """The source with its lines as those of a plain table, whatever their form."""
    head = head_of(source.lines())
    whole = sum(1 for _ in islice(source.lines(), len(head) + 1)) == len(head)
    form = find_form(head, whole, as_delimiter(delimiter) if delimiter else None)
    if form is None:
        return source
    plain = source.lines
    described = f"{source.translated}, {form.described}" if source.translated else form.described
    dress = replace(
        source,
        lines=lambda: form.translate(plain()),
        delimiter=form.delimiter or source.delimiter,
        exact=form.exact,
        translated=described,
    )
    return dressed(dress, delimiter) if form.delimiter is None else dress
