"""A file as lines of text, whatever it is: text in any encoding, a workbook, Parquet or Arrow."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from meterlog.exchange.table.encoding import find_encoding
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.text_rows import text_lines

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
        translated: how the lines differ from those in the file, for a person.
    """

    path: Path
    kind: str
    lines: Lines
    doubts: tuple[str, ...] = ()
    delimiter: str | None = None
    translated: str = ""


def open_source(path: Path, options: ImportOptions | None = None) -> Source:
    """Look what a file is.

    Raises:
        TableError: it is absent, empty, or cannot be read.
    """
    encoding = options.encoding if options else None
    found = find_encoding(path) if encoding is None else None
    name = encoding or (found.name if found else "")
    return Source(path, name, lambda: text_lines(path, name), (found.doubt,) if found and found.doubt else ())
