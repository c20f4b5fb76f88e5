"""Finds the table in a text file: delimiter, header line, and which column is which."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from itertools import islice
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.table.grid import Grid, find_grid
from meterlog.exchange.table.text_rows import Shape, split_line
from meterlog.text.units import header_name

DELIMITERS = {"comma": ",", "semicolon": ";", "tab": "\t", "bar": "|", "space": "space"}
"""Names for `--delimiter`, which also takes the character itself."""

HEAD_LINES, HEAD_CHARACTERS = 300, 1 << 22
"""The table is looked for in so much of the file: instruments write some dozens of lines before it. A guess."""
_SHOWN_NAMES = 40
"""So many column names fit a message. A guess."""


class Layout(NamedTuple):
    """Says where things are.

    Attributes:
        delimiter: one character, or `space`.
        header_line: the number of the line before the first row; 0 where that is the first of the file.
        header: each column's title with its unit; nothing for one that has none.
        header_rows: the lines that name the columns, as they are cut.
        width: cells in a row.
        places: for each column asked for, its place from 0.
        labels: for each column, what stands before the value in each cell.
        units: pairs of a column of values and the one that holds the unit of each.
    """

    delimiter: str
    header_line: int
    header: list[str]
    header_rows: list[list[str]]
    width: int
    places: list[int]
    labels: tuple[str, ...] = ()
    units: tuple[tuple[int, int], ...] = ()

    def shape(self, needed: int, *, exact: bool = False) -> Shape:
        """The shape of its rows, when each must have `needed` cells; where blanks separate them, every one."""
        if exact or self.delimiter == "space":
            needed = self.width
        return Shape(self.delimiter, self.header_line, self.width, needed, self.labels, self.units)

    def title(self, place: int) -> str:
        """A column's header cell, or its number."""
        named = self.header[place].strip() if place < len(self.header) else ""
        return named or f"column {place + 1}"


def head_of(lines: Iterator[str]) -> list[tuple[int, str]]:
    """The first lines, numbered from 1."""
    head: list[tuple[int, str]] = []
    room = HEAD_CHARACTERS
    for number, line in enumerate(islice(lines, HEAD_LINES), 1):
        head.append((number, line))
        room -= len(line)
        if room < 0:
            break
    return head


def grids_of(lines: Sequence[tuple[int, str]], delimiter: str | None, columns: int = 2) -> list[Grid]:
    """The ways of cutting the lines that show a table, the best first."""
    candidates = [delimiter] if delimiter else list(DELIMITERS.values())
    found = [grid for d in candidates if (grid := find_grid(lines, d, columns=1 if delimiter else columns))]
    return sorted(found, key=lambda grid: -grid.fit)


def find_layout(lines: Sequence[tuple[int, str]], wanted: Sequence[str], delimiter: str | None, name: str) -> Layout:
    """Find the columns by their names in the header, or by their numbers from 1.

    Args:
        lines: the first lines of the file, with their numbers.
        wanted: names or numbers.
        delimiter: as given by `--delimiter`.
        name: of the file, for messages.

    Raises:
        TableError: no line names them, or a name occurs twice.
    """
    numbered = all(name.isdecimal() for name in wanted)
    columns = max([int(name) for name in wanted if name.isdecimal()], default=1) if numbered else 1
    grids = grids_of(lines, delimiter, max(columns, 1))
    layouts = [layout for grid in grids if (layout := _in_grid(grid, wanted))]
    if not layouts and not (numbered and grids):
        layouts = _in_any_line(lines, delimiter, wanted)
    if not layouts:
        raise _not_found(lines, wanted, grids, name)
    fit = {grid.delimiter: grid.fit for grid in grids}
    return max(layouts, key=lambda layout: (round(fit.get(layout.delimiter, 0.0), 2), layout.delimiter != "space"))


def _in_grid(grid: Grid, wanted: Sequence[str]) -> Layout | None:
    places: list[int] = []
    for name in wanted:
        place = _place([*grid.header_rows, grid.titles], name, grid.width)
        if place is None:
            return None
        places.append(place)
    return Layout(
        grid.delimiter, grid.header_line, grid.titles, grid.header_rows, grid.width, places, grid.labels, grid.units
    )


def _in_any_line(lines: Sequence[tuple[int, str]], delimiter: str | None, wanted: Sequence[str]) -> list[Layout]:
    """The first line that names every column, whatever stands below it."""
    candidates = [delimiter] if delimiter else [d for d in DELIMITERS.values() if d != "space"]
    for number, line in lines:
        found = []
        for mark in candidates:
            header = [cell.strip().lstrip("\ufeff") for cell in split_line(line, mark)]
            places = [_place([header], name, 0) for name in wanted]
            if None not in places:
                known = [place for place in places if place is not None]
                found.append(Layout(mark, number, header, [header], len(header), known))
        if found:
            return found
    return []


def _not_found(lines: Sequence[tuple[int, str]], wanted: Sequence[str], grids: Sequence[Grid], name: str) -> TableError:
    if not grids:
        return TableError(
            f"no table was found in the first {len(lines)} lines of '{name}': the first is '{_first(lines)}';"
            " say what separates its columns with --delimiter"
        )
    grid = grids[0]
    there = _names(grid)
    if all(one.isdecimal() for one in wanted):
        return TableError(f"'{name}' has {grid.width} columns, not {max(map(int, wanted))}{there}")
    missing = [one for one in wanted if _in_grid(grid, [one]) is None]
    names = " and ".join(f"'{one}'" for one in missing)
    return TableError(f"no column of '{name}' is called {names}{there}")


def _first(lines: Sequence[tuple[int, str]]) -> str:
    text = next((line.strip() for _, line in lines if line.strip()), "")
    return text if len(text) <= 80 else f"{text[:80]}..."


def _names(grid: Grid) -> str:
    named = [f"'{title}'" for title in grid.titles if title]
    more = f" and {len(named) - _SHOWN_NAMES} more" if len(named) > _SHOWN_NAMES else ""
    if not named:
        return f"; it has no header, so name the columns by number, 1 to {grid.width}"
    return f"; there are {', '.join(named[:_SHOWN_NAMES])}{more}"


def _bare(name: str) -> str:
    """A name without case, blanks and underscores."""
    return re.sub(r"[\s_]+", "", name).casefold()


def _place(headers: Sequence[Sequence[str]], name: str, width: int) -> int | None:
    """Find where a column is: by a whole header cell, then whatever its case and blanks, then without its unit, then by
    its number up to `width`."""
    wanted = name.strip()
    bare = _bare(wanted)
    ways: tuple[Callable[[str], bool], ...] = (
        lambda cell: cell == wanted,
        lambda cell: cell.casefold() == wanted.casefold(),
        lambda cell: _bare(cell) == bare,
        lambda cell: _bare(header_name(cell)) == bare,
    )
    for way in ways:
        found = [[i for i, cell in enumerate(header) if cell and way(cell)] for header in headers]
        for matches in found:
            if len(matches) == 1:
                return matches[0]
        for matches in found:
            if matches:
                which = " or ".join(str(i + 1) for i in matches)
                raise TableError(
                    f"{len(matches)} columns are called '{name}': give the number of the one meant, {which}"
                )
    return int(wanted) - 1 if wanted.isdecimal() and 1 <= int(wanted) <= width else None


def as_delimiter(text: str) -> str:
    """The delimiter that `--delimiter` gives.

    Raises:
        TableError: it is no character and no name.
    """
    mark = DELIMITERS.get(text, "\t" if text == "\\t" else text)
    if mark != "space" and (len(mark) != 1 or mark in '"\r\n'):
        raise TableError(f"--delimiter must be one character or one of {', '.join(DELIMITERS)}, not '{text}'")
    return mark
