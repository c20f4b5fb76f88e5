"""A text table as numbered rows: encoding, line ends, quotes."""

from __future__ import annotations

import csv
import io
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from itertools import compress, islice, repeat
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.errors import TableError
from meterlog.exchange.table.even_cells import EvenCells, even_columns
from meterlog.exchange.table.looks import Look, is_words, look, note_of, unlabelled
from meterlog.exchange.table.remarks import Remarks
from meterlog.session.schema import CHUNK_READINGS
from meterlog.text.units import is_unit

BLOCK_ROWS = 5 * CHUNK_READINGS
"""Rows worked on at once: what bounds the memory. Whole chunks, so that a clean table is sealed as it comes."""

_QUOTED_LINES = 50
"""A quoted cell that runs on over more lines is a stray quote. A guess."""
LONGEST_LINE = 1 << 24
"""Characters of a line, and of a cell: a hundred times what `export` writes of a session with 1000 link changes, and
still little memory where a file has no line ends."""
csv.field_size_limit(LONGEST_LINE)


_READ_CHARACTERS = 1 << 18
"""The file is read in such pieces: about as many rows as a block has, where there are two columns of numbers."""


class TextLines(Iterator[str]):
    """The lines of a file, line ends kept; or, where nobody wants them one by one, whole pieces of it.

    Raises:
        TableError: the file does not have that encoding, or a line that no table has.
    """

    def __init__(self, path: Path, encoding: str) -> None:
        self._pieces = _pieces(path, encoding)
        self._lines: Iterator[str] = iter(())

    def __next__(self) -> str:
        while (line := next(self._lines, None)) is None:
            self.put_back(next(self._pieces))
        return line

    def piece(self) -> str:
        """Lines not given yet, as one text; nothing at the end of the file."""
        return "".join(self._lines) or next(self._pieces, "")

    def put_back(self, piece: str) -> None:
        """Give a piece line by line after all."""
        self._lines = iter(io.StringIO(piece, newline="").readlines())


def _pieces(path: Path, encoding: str) -> Iterator[str]:
    """The text of a file, some whole lines at a time."""
    try:
        with path.open(encoding=encoding, newline="", errors="replace" if encoding == "cp1252" else "strict") as file:
            rest = ""
            while piece := file.read(_READ_CHARACTERS):
                text = rest + piece
                # A carriage return at the very end may have its line feed in the next piece.
                end = text.rfind("\n") + 1 or text.rfind("\r", 0, len(text) - 1) + 1
                rest = text[end:]
                if rest.endswith("\0\0"):  # what a logger that lost power never filled: megabytes, sometimes
                    rest = rest.rstrip("\0") + "\0"
                if len(rest) > LONGEST_LINE:
                    raise TableError(
                        f"'{path}' has a line of more than {LONGEST_LINE // 1_000_000} million characters: not a table"
                    )
                if end:
                    yield text[:end]
            if rest:
                yield rest
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


Texts = list[tuple[int, str]]
"""Lines of text between the rows: their numbers and words."""


TOO_FEW = "rows with too few cells, skipped"
TOO_MANY = "rows with more cells than the header, skipped"
OPEN_QUOTE = "lines with a quote that does not close, skipped"
EMPTY = "empty rows, skipped"
HEADER_AGAIN = "repeated header lines, skipped"
DAMAGED = (TOO_FEW, TOO_MANY, OPEN_QUOTE)
"""Lines that are rows but are never seen as such."""
NO_ROWS = (EMPTY, HEADER_AGAIN)
"""Lines that are seen and are no rows."""


Cells = list[str] | EvenCells
"""The cells of a column."""


class Block(NamedTuple):
    """Some rows of a table, by column.

    Attributes:
        line: the line on which each row begins.
        columns: for each column of the table, its cells.
        texts: lines between the rows that hold words and no numbers, with their numbers and cells.
    """

    line: Sequence[int]
    columns: Sequence[Cells]
    texts: Sequence[tuple[int, list[str]]] = ()

    def row(self, i: int) -> list[str]:
        """One row's cells."""
        return [column[i] for column in self.columns]

    def chosen(self, good: NDArray[np.bool_]) -> Block:
        """The rows where `good` holds."""
        if good.all():
            return self
        return Block(list(compress(self.line, good)), [_chosen(column, good) for column in self.columns])

    def part(self, start: int, stop: int) -> Block:
        """The rows from `start` on, before `stop`."""
        return Block(self.line[start:stop], [column[start:stop] for column in self.columns])

    def before(self, later: Block) -> Block:
        """These rows and then the later ones."""
        columns = [_before(first, then) for first, then in zip(self.columns, later.columns, strict=True)]
        return Block([*self.line, *later.line], columns)


def _chosen(cells: Cells, good: NDArray[np.bool_]) -> Cells:
    return cells.chosen(good) if isinstance(cells, EvenCells) else list(compress(cells, good))


def _before(first: Cells, then: Cells) -> Cells:
    if isinstance(first, EvenCells) and isinstance(then, EvenCells):
        return first.before(then)
    return [*first, *then]


class Shape(NamedTuple):
    """The cells and the first line of a table's rows.

    Attributes:
        delimiter: one character, or `space`.
        after_line: the line before the first row.
        width: cells in a row.
        needed: cells that a row must have; further ones may be missing at its end.
        labels: for each column, what stands before the value in each cell; nothing where no column has any.
        units: pairs of a column of values and the one that holds the unit of each.
    """

    delimiter: str
    after_line: int
    width: int
    needed: int
    labels: tuple[str, ...] = ()
    units: tuple[tuple[int, int], ...] = ()

    def dressed(self, block: Block) -> Block:
        """The block with a value's unit in its cell, and without the labels there."""
        block = self._unlabelled(block)
        if not self.units:
            return block
        columns = list(block.columns)
        for value, unit in self.units:
            columns[value] = with_units(columns[value], columns[unit])
        return block._replace(columns=columns)

    def _unlabelled(self, block: Block) -> Block:
        if not any(self.labels):
            return block
        pairs = zip(block.columns, self.labels, strict=True)
        return Block(
            block.line, [[unlabelled(cell, label) for cell in cells] if label else cells for cells, label in pairs]
        )


def with_units(values: Iterable[str], units: Iterable[str]) -> list[str]:
    """Values with the units that stand in another column behind them; blanks and words stay as they are."""
    pairs = zip(values, units, strict=True)
    return [
        f"{value} {unit.strip()}" if look(value) is Look.NUMBER and is_unit(unit.strip()) else value
        for value, unit in pairs
    ]


def blocks(lines: Iterator[str], shape: Shape, remarks: Remarks) -> Iterator[Block]:
    """The rows, block by block; those that do not fit are counted and left out, blank lines passed over.

    A quoted cell may hold line ends. A quote that does not close within 50 lines is taken for damage: its line is
    counted and left out, and the next one read as usual.
    """
    first = 1 + sum(1 for _ in islice(lines, shape.after_line))
    while isinstance(lines, TextLines) and not any(shape.labels) and (piece := lines.piece()):
        even = even_columns(piece, shape.delimiter, shape.width)
        if even is None:
            lines.put_back(piece)
            break
        yield Block(range(first, first + len(even[0])), even)
        first += len(even[0])
    while texts := list(islice(lines, BLOCK_ROWS)):
        columns = _even_columns(texts, shape)
        if columns is not None:
            yield shape.dressed(Block(range(first, first + len(texts)), columns))
            first += len(texts)
            continue
        numbered = list(enumerate(texts, first))
        block = _uneven_block(numbered, lines, shape, remarks)
        if block.line or block.texts:
            yield shape.dressed(block)
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
    numbers, rows, texts = [], [], []
    for number, cells in _rows(numbered, more, shape.delimiter, remarks):
        if len(cells) < shape.needed and is_words(cells):
            if look(cells[0]) is Look.TEXT:
                texts.append((number, cells))
            else:  # words behind a time: they stand where a value would
                numbers.append(number)
                rows.append(
                    [*cells[:1], *[""] * (shape.needed - 2), note_of(cells), *[""] * (shape.width - shape.needed)]
                )
        elif len(cells) < shape.needed:
            filled = any(cell.strip() for cell in cells)
            if filled:
                remarks.add_unreadable(TOO_FEW, (number,))
            else:
                remarks.add(EMPTY, number)
        elif len(cells) > shape.width and any(cell.strip() for cell in cells[shape.width :]):
            remarks.add_unreadable(TOO_MANY, (number,))
        else:
            numbers.append(number)
            rows.append(cells[: shape.width] + [""] * (shape.width - len(cells)))
    columns = [list(column) for column in zip(*rows, strict=True)] or [[] for _ in range(shape.width)]
    return Block(numbers, columns, texts)


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
            remarks.add_unreadable(OPEN_QUOTE, (number,))
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
