"""A text table as numbered rows: encoding, line ends, quotes."""

from __future__ import annotations

import codecs
import csv
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import compress, islice, repeat
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.errors import TableError
from meterlog.exchange.table.looks import unlabelled
from meterlog.exchange.table.remarks import Remarks
from meterlog.session.schema import CHUNK_READINGS

BLOCK_ROWS = 5 * CHUNK_READINGS
"""Rows worked on at once: what bounds the memory. Whole chunks, so that a clean table is sealed as it comes."""

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_QUOTED_LINES = 50
"""A quoted cell that runs on over more lines is a stray quote. A guess."""
_READ_BYTES, _HEAD_BYTES = 1 << 20, 4000
"""The file is read in such pieces, and UTF-16 told by the zero bytes of so many."""
_UTF16_ZEROS = 0.25
"""Share of zero bytes from which a text is UTF-16: half of it for Latin letters, none in any other encoding."""

LONGEST_LINE = 1 << 24
"""Characters of a line, and of a cell: a hundred times what `export` writes of a session with 1000 link changes, and
still little memory where a file has no line ends."""
csv.field_size_limit(LONGEST_LINE)


def find_encoding(path: Path) -> str:
    """The encoding: by its mark, by the zero bytes of UTF-16, as UTF-8 when all of it is valid, else Windows-1252
    (which is Latin-1 and a few characters more).

    Raises:
        TableError: the file is absent, empty, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            return _encoding(iter(lambda: file.read(_READ_BYTES), b""))
    except FileNotFoundError:
        raise TableError(f"there is no file '{path}'") from None
    except IsADirectoryError:
        raise TableError(f"'{path}' is a folder, not a table") from None
    except OSError as error:
        raise TableError(f"'{path}' cannot be read: {error.strerror}") from error
    except StopIteration:
        raise TableError(f"'{path}' is an empty file") from None


def _encoding(blocks: Iterator[bytes]) -> str:
    block = next(blocks)
    for mark, name in _BOMS:
        if block.startswith(mark):
            return name
    head = block[:_HEAD_BYTES]
    if len(head) > 3 and head.count(0) > _UTF16_ZEROS * len(head):
        return "utf-16-le" if head[1::2].count(0) > head[::2].count(0) else "utf-16-be"
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        while block:
            decoder.decode(block)
            block = next(blocks, b"")
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def text_lines(path: Path, encoding: str) -> Iterator[str]:
    """The lines, line ends kept.

    Raises:
        TableError: the file does not have that encoding, or a line that no table has.
    """
    try:
        with path.open(encoding=encoding, newline="", errors="replace" if encoding == "cp1252" else "strict") as file:
            while line := file.readline(LONGEST_LINE):
                if len(line) == LONGEST_LINE:
                    raise TableError(
                        f"'{path}' has a line of more than {LONGEST_LINE // 1_000_000} million characters: not a table"
                    )
                yield line
    except UnicodeError as error:
        raise TableError(
            f"'{path}' is not in the encoding {encoding} ({error}): give another with --encoding"
        ) from None
    except LookupError:
        raise TableError(f"there is no encoding '{encoding}'") from None
    except OSError as error:
        raise TableError(f"'{path}' cannot be read: {error.strerror}") from error


def split_line(line: str, delimiter: str) -> list[str]:
    """One line as cells; `delimiter` is one character, or `space` for any run of blanks."""
    line = line.rstrip("\r\n")
    if delimiter == "space":
        return line.split()
    if '"' not in line:
        return line.split(delimiter)
    return _cells((line,), delimiter)


def _cells(lines: Iterable[str], delimiter: str) -> list[str]:
    try:
        return next(csv.reader(lines, delimiter=delimiter), [])
    except csv.Error:
        return []


class Block(NamedTuple):
    """Some rows of a table, by column.

    Attributes:
        line: the line on which each row begins.
        columns: for each column of the table, its cells.
    """

    line: Sequence[int]
    columns: list[list[str]]

    def row(self, i: int) -> list[str]:
        """One row's cells."""
        return [column[i] for column in self.columns]

    def chosen(self, good: NDArray[np.bool_]) -> Block:
        """The rows where `good` holds."""
        if good.all():
            return self
        return Block(list(compress(self.line, good)), [list(compress(column, good)) for column in self.columns])


class Shape(NamedTuple):
    """The cells and the first line of a table's rows.

    Attributes:
        delimiter: one character, or `space`.
        after_line: the line before the first row.
        width: cells in a row.
        needed: cells that a row must have; further ones may be missing at its end.
        labels: for each column, what stands before the value in each cell; nothing where no column has any.
    """

    delimiter: str
    after_line: int
    width: int
    needed: int
    labels: tuple[str, ...] = ()

    def unlabelled(self, block: Block) -> Block:
        """The block without the labels in its cells."""
        if not any(self.labels):
            return block
        pairs = zip(block.columns, self.labels, strict=True)
        return Block(
            block.line, [[unlabelled(cell, label) for cell in cells] if label else cells for cells, label in pairs]
        )


def blocks(path: Path, encoding: str, shape: Shape, remarks: Remarks) -> Iterator[Block]:
    """The rows, block by block; those that do not fit are counted and left out, blank lines passed over.

    A quoted cell may hold line ends. A quote that does not close within 50 lines is taken for damage: its line is
    counted and left out, and the next one read as usual.
    """
    lines = text_lines(path, encoding)
    first = 1 + sum(1 for _ in islice(lines, shape.after_line))
    while texts := list(islice(lines, BLOCK_ROWS)):
        columns = _even_columns(texts, shape)
        if columns is not None:
            yield shape.unlabelled(Block(range(first, first + len(texts)), columns))
            first += len(texts)
            continue
        numbered = list(enumerate(texts, first))
        block = _uneven_block(numbered, lines, shape, remarks)
        if block.line:
            yield shape.unlabelled(block)
        first += len(numbered)


def _even_columns(texts: list[str], shape: Shape) -> list[list[str]] | None:
    """The lines cut in one go, where none has a quote and all have the right number of cells; else None."""
    whole = "".join(texts)
    mark, width = shape.delimiter, shape.width
    if mark == "space" or '"' in whole or set(map(str.count, texts, repeat(mark))) != {width - 1}:
        return None
    if width == 1 and any(map(str.isspace, texts)):
        return None
    whole = whole.replace("\r\n", "\n").replace("\r", "\n").removesuffix("\n")
    cells = whole.replace("\n", mark).split(mark)
    return [cells[place::width] for place in range(width)]


def _uneven_block(numbered: list[tuple[int, str]], more: Iterator[str], shape: Shape, remarks: Remarks) -> Block:
    """The block row by row; takes more lines, and adds them to `numbered`, where a quoted cell runs on over its end."""
    numbers, rows = [], []
    for number, cells in _rows(numbered, more, shape.delimiter, remarks):
        if len(cells) < shape.needed:
            filled = any(cell.strip() for cell in cells)
            remarks.add("rows with too few cells, skipped" if filled else "empty rows, skipped", number)
        elif len(cells) > shape.width and any(cell.strip() for cell in cells[shape.width :]):
            remarks.add("rows with more cells than the header, skipped", number)
        else:
            numbers.append(number)
            rows.append(cells[: shape.width] + [""] * (shape.width - len(cells)))
    return Block(numbers, [list(column) for column in zip(*rows, strict=True)])


def _rows(
    numbered: list[tuple[int, str]], more: Iterator[str], delimiter: str, remarks: Remarks
) -> Iterator[tuple[int, list[str]]]:
    waiting = deque(numbered)
    while waiting:
        number, line = waiting.popleft()
        if line.isspace():
            continue
        if delimiter == "space" or '"' not in line:
            yield number, split_line(line, delimiter)
            continue
        taken = _Taken(line, waiting, numbered, more)
        cells = taken.cells(delimiter)
        if cells is None:
            remarks.add("lines with a quote that does not close, skipped", number)
            waiting.extendleft((number + i, taken.lines[i]) for i in range(len(taken.lines) - 1, 0, -1))
        else:
            yield number, cells


class _Taken:
    """The lines of one row: csv.reader asks for another one only while a quoted cell is open.

    So a quote within a cell (`3" pipe`) is a character like others, as it is for the csv module.
    """

    def __init__(
        self, line: str, waiting: deque[tuple[int, str]], numbered: list[tuple[int, str]], more: Iterator[str]
    ) -> None:
        self.lines = [line]
        self.wanted_more = False
        self._waiting, self._numbered, self._more = waiting, numbered, more

    def cells(self, delimiter: str) -> list[str] | None:
        """The row's cells; None where a quote is open at the end of what can be its lines."""
        try:
            cells = next(csv.reader(self, delimiter=delimiter, strict=True))
        except csv.Error:
            # Something behind a closing quote: harmless within a line (`"x"y`), else the quote closed something else.
            whole_line = len(self.lines) == 1 and not self.wanted_more
            return split_line(self.lines[0], delimiter) if whole_line else None
        return None if self.wanted_more else cells

    def __iter__(self) -> Iterator[str]:
        yield self.lines[0]
        while len(self.lines) < _QUOTED_LINES:
            if not self._waiting:
                added = [(self._numbered[-1][0] + 1, text) for text in islice(self._more, 1)]
                self._numbered += added
                self._waiting += added
            if not self._waiting:
                break
            self.lines.append(self._waiting.popleft()[1])
            yield self.lines[-1]
        self.wanted_more = True
