"""Finds the table in a text file: delimiter, header line, and which column is which."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice
from pathlib import Path
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.table.text_rows import Shape, split_line, text_lines
from meterlog.text.units import header_name

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "space": "space"}
"""Names for `--delimiter`, which also takes the character itself."""

_SEARCHED_LINES = 100
"""A header is looked for in so many lines: instruments write some dozens before it. A guess."""
_SHOWN_CELLS = 12
"""So many column names fit a message. A guess."""


class Layout(NamedTuple):
    """Says where things are.

    Attributes:
        delimiter: one character, or `space`.
        header_line: the header's line number; 0 where there is none.
        header: its cells.
        width: cells in a row.
        places: for each column asked for, its place from 0.
    """

    delimiter: str
    header_line: int
    header: list[str]
    width: int
    places: list[int]

    def shape(self, needed: int) -> Shape:
        """The shape of its rows, when each must have `needed` cells."""
        return Shape(self.delimiter, self.header_line, self.width, needed)

    def title(self, place: int) -> str:
        """A column's header cell, or its number."""
        return self.header[place].strip() if place < len(self.header) else f"column {place + 1}"


def find_layout(path: Path, encoding: str, wanted: Sequence[str], delimiter: str | None) -> Layout:
    """Find the header line that names every wanted column; columns may also be given by number, from 1.

    Raises:
        TableError: no line names them, a name occurs twice, or two delimiters both fit.
    """
    lines = list(enumerate(islice(text_lines(path, encoding), _SEARCHED_LINES), 1))
    candidates = [delimiter] if delimiter else [d for d in DELIMITERS.values() if d != "space"]
    found = _named(lines, candidates, wanted)
    if not found:
        if all(name.isdecimal() for name in wanted):
            return _by_number(path, lines, candidates, [int(name) for name in wanted])
        names = " and ".join(f"'{name}'" for name in wanted)
        raise TableError(
            f"none of the first {len(lines)} lines of '{path}' names the columns {names}{_hint(lines, candidates)}"
        )
    first_line = found[0].header_line
    fitting = [layout for layout in found if layout.header_line == first_line]
    if len(fitting) > 1:
        raise _two_delimiters(fitting)
    return fitting[0]


def _named(lines: list[tuple[int, str]], candidates: Sequence[str], wanted: Sequence[str]) -> list[Layout]:
    found = []
    numbers = not all(name.isdecimal() for name in wanted)  # a line that is only counted in is no header yet
    for number, line in lines:
        for delimiter in candidates:
            header = split_line(line, delimiter)
            places = [_place(header, name, numbers) for name in wanted]
            if None not in places:
                found.append(Layout(delimiter, number, header, len(header), [p for p in places if p is not None]))
        if found:
            break
    return found


def _place(header: list[str], name: str, numbers: bool) -> int | None:
    """Find where a column is: by its whole header cell, then whatever its case, then without its unit, then by
    number."""
    wanted = name.strip()
    cells = [cell.strip().lstrip("\ufeff") for cell in header]
    folded = wanted.casefold()
    for matches in (
        [i for i, cell in enumerate(cells) if cell == wanted],
        [i for i, cell in enumerate(cells) if cell.casefold() == folded],
        [i for i, cell in enumerate(cells) if header_name(cell).casefold() == folded],
        [int(wanted) - 1] if numbers and wanted.isdecimal() and 1 <= int(wanted) <= len(cells) else [],
    ):
        if len(matches) > 1:
            which = " or ".join(str(i + 1) for i in matches)
            raise TableError(f"{len(matches)} columns are called '{name}': give the number of the one meant, {which}")
        if matches:
            return matches[0]
    return None


def _by_number(path: Path, lines: list[tuple[int, str]], candidates: Sequence[str], numbers: list[int]) -> Layout:
    """No header names the columns: the delimiter that most lines have, the same number of times."""
    fitting = []
    for delimiter in candidates:
        widths = [len(split_line(line, delimiter)) for _, line in lines if line.strip()]
        usual = max(set(widths), key=widths.count, default=0)
        if min(numbers) >= 1 and usual >= max(numbers) and widths.count(usual) * 2 > len(widths):
            fitting.append(Layout(delimiter, 0, [], usual, [number - 1 for number in numbers]))
    if not fitting:
        raise TableError(
            f"'{path}' has no {max(numbers)} columns{_hint(lines, candidates)};"
            " say what separates them with --delimiter"
        )
    if len(fitting) > 1:
        raise _two_delimiters(fitting)
    return fitting[0]


def _two_delimiters(layouts: list[Layout]) -> TableError:
    names = {mark: name for name, mark in DELIMITERS.items()}
    ways = " or ".join(f"{names[layout.delimiter]}s ({layout.width} columns)" for layout in layouts)
    choices = " or ".join(f"--delimiter {names[layout.delimiter]}" for layout in layouts)
    return TableError(f"the columns can be separated by {ways}: say which with {choices}")


def _hint(lines: list[tuple[int, str]], candidates: Sequence[str]) -> str:
    """List the cells of the line that looks most like a header."""
    cells: list[str] = []
    for _, line in lines:
        for delimiter in candidates:
            split = split_line(line, delimiter)
            if len(split) > len(cells):
                cells = split
    if len(cells) < 2:
        return ""
    return "; there are " + ", ".join(f"'{cell.strip()}'" for cell in cells[:_SHOWN_CELLS] if cell.strip())


def as_delimiter(text: str) -> str:
    """The delimiter that `--delimiter` gives.

    Raises:
        TableError: it is no character and no name.
    """
    mark = DELIMITERS.get(text, "\t" if text == "\\t" else text)
    if mark != "space" and (len(mark) != 1 or mark in '"\r\n'):
        raise TableError(f"--delimiter must be one character or one of {', '.join(DELIMITERS)}, not '{text}'")
    return mark
