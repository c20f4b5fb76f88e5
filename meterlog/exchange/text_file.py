"""A text table as numbered rows: encoding, line ends, quotes."""

from __future__ import annotations

import codecs
import csv
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.tally import Tally

BLOCK_ROWS = 20_000
"""Rows worked on at once: what bounds the memory."""

_BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_QUOTED_LINES = 50  # a quoted cell that runs on longer is a stray quote


def find_encoding(path: Path) -> str:
    """The encoding: by its mark, by the zero bytes of UTF-16, as UTF-8 when all of it is valid, else Windows-1252
    (which is Latin-1 and a few characters more).

    Raises:
        TableError: the file is absent, empty, or cannot be read.
    """
    try:
        with path.open("rb") as file:
            return _encoding(iter(lambda: file.read(1 << 20), b""))
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
    head = block[:4000]
    if len(head) > 3 and head.count(0) > len(head) // 4:
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


def numbered_lines(path: Path, encoding: str) -> Iterator[tuple[int, str]]:
    """The lines with their numbers from 1, line ends kept.

    Raises:
        TableError: the file does not have that encoding.
    """
    try:
        with path.open(encoding=encoding, newline="", errors="replace" if encoding == "cp1252" else "strict") as file:
            yield from enumerate(file, 1)
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
    """Some rows of a table; `line[i]` is where `cells[i]` begins."""

    line: list[int]
    cells: list[list[str]]


def blocks(path: Path, encoding: str, delimiter: str, after_line: int, tally: Tally) -> Iterator[Block]:
    """The rows after a line, block by block; blank lines are left out.

    A quoted cell may hold line ends. A quote that does not close within 50 lines is taken for damage: its line is
    counted and left out, and the next one read as usual.
    """
    block = Block([], [])
    for number, cells in _rows(numbered_lines(path, encoding), delimiter, after_line, tally):
        block.line.append(number)
        block.cells.append(cells)
        if len(block.line) >= BLOCK_ROWS:
            yield block
            block = Block([], [])
    if block.line:
        yield block


def _rows(
    lines: Iterator[tuple[int, str]], delimiter: str, after_line: int, tally: Tally
) -> Iterator[tuple[int, list[str]]]:
    waiting: list[tuple[int, str]] = []
    plain = delimiter != "space"
    while True:
        number, line = waiting.pop(0) if waiting else next(lines, (0, ""))
        if not number:
            return
        if number <= after_line:
            continue
        if plain and '"' not in line:
            if line := line.rstrip("\r\n"):
                yield number, line.split(delimiter)
        elif line.count('"') % 2 == 0:
            if not line.isspace():
                yield number, split_line(line, delimiter)
        else:
            whole = [line]
            while sum(part.count('"') for part in whole) % 2 and len(whole) < _QUOTED_LINES:
                more = waiting.pop(0) if waiting else next(lines, (0, ""))
                if not more[0]:
                    break
                whole.append(more[1])
            if sum(part.count('"') for part in whole) % 2:
                tally.add("lines with a quote that does not close, skipped", number)
                waiting[:0] = [(number + 1 + i, part) for i, part in enumerate(whole[1:])]
            else:
                yield number, _cells(whole, delimiter)
