"""Cuts the first lines of a file by a delimiter, and finds which of them are rows of data and which is the header."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

from meterlog.exchange.table.looks import Look, label_name, label_of, look
from meterlog.exchange.table.text_rows import split_line
from meterlog.exchange.table.time_unit import header_time_unit
from meterlog.text.units import TIME_UNITS, header_name, is_unit

_USUAL_SHARE = 0.6
"""A column whose cells are numbers or times in this share of the rows is one of numbers or times. A guess."""
_LABEL_SHARE = 0.8
"""So many cells of a column must bear the same label. A guess."""
_RULE = re.compile(r"[-=_+|:\s]*")


class Grid(NamedTuple):
    """The first lines of a file as cells.

    Attributes:
        delimiter: one character, or `space`.
        width: cells in a row.
        header_line: the number of the line before the first row of data, from 1; 0 where data begin with the first.
        titles: the name of each column with its unit, as far as the lines above the data and the labels say them.
        header_rows: the lines that name the columns, as they are cut.
        labels: for each column, what stands before the value in each of its cells.
        usual: the places of the columns of numbers and times.
        units: pairs of a column of values and the one that holds the unit of each.
        fit: share of the lines and cells that this way of cutting explains, 0 to 1.
    """

    delimiter: str
    width: int
    header_line: int
    titles: list[str]
    header_rows: list[list[str]]
    labels: tuple[str, ...]
    usual: frozenset[int]
    units: tuple[tuple[int, int], ...]
    fit: float


def find_grid(lines: Sequence[tuple[int, str]], delimiter: str, *, columns: int = 2) -> Grid | None:
    """The grid of numbered lines; None where they have less than `columns` cells, or no numbers and times."""
    rows = [(number, split_line(line, delimiter)) for number, line in lines if line.strip()]
    looks = [[look(cell) for cell in cells] for _, cells in rows]
    widths = Counter(len(cells) for (_, cells), seen in zip(rows, looks, strict=True) if _filled(seen)[1])
    if not widths:
        return None
    width = max(widths, key=lambda w: (widths[w], w))
    if width < columns:
        return None
    usual = _usual_places([seen for seen in looks if len(seen) == width and _filled(seen)[1]])
    data = [k for k, seen in enumerate(looks) if _is_data(seen, usual)]
    if not usual or not data:
        return None
    first = data[0]
    used = 1 + max(place for k in data for place, cell in enumerate(rows[k][1][:width]) if cell.strip())
    header = _header(rows[:first], used)
    if not header.line:  # lines like `Min,12.1,V` may stand above it, and are half of them numbers too
        whole = next((k for k in data if _is_whole(looks[k], usual)), first)
        if (below := _header(rows[:whole], used)).line:
            first, header, data = whole, below, [k for k in data if k >= whole]
    if delimiter != "space":
        width = max(width, len(header.names))
    elif len(header.names) != width:  # blanks within the names
        header = header._replace(names=[])
    labels = _labels([rows[k][1] for k in data], width)
    titles = [title or label_name(label) for title, label in zip(_wide(header.names, width), labels, strict=True)]
    understood = [good / all_ for all_, good in (_filled(looks[k]) for k in data)]
    fit = len(data) / (len(rows) - first) * sum(understood) / len(understood)
    header_line = header.line or (rows[first - 1][0] if first else 0)
    units = _units_of(titles, [rows[k][1] for k in data], usual)
    return Grid(delimiter, width, header_line, titles, header.rows, labels, usual, units, fit)


def _filled(seen: Sequence[Look]) -> tuple[int, int]:
    """Return how many cells hold something, and how many of them a number or a time."""
    filled = sum(one is not Look.BLANK for one in seen)
    return filled, filled - sum(one is Look.TEXT for one in seen)


def _usual_places(rows: Sequence[Sequence[Look]]) -> frozenset[int]:
    """The places where most rows, from the middle on, have a number or a time: above it stand titles and settings."""
    later = rows[len(rows) // 2 :]
    places = zip(*later, strict=True)
    good = {k for k, column in enumerate(places) if _numbers(column) > _USUAL_SHARE * len(column)}
    return frozenset(good)


def _numbers(column: Sequence[Look]) -> int:
    return sum(one in (Look.NUMBER, Look.TIME, Look.BLANK) for one in column) if _filled(column)[1] else 0


def _is_data(seen: Sequence[Look], usual: frozenset[int]) -> bool:
    """Tell whether a row reaches all places that usually have numbers or times, and has them in half of those."""
    if not usual or len(seen) <= max(usual):
        return False
    good = sum(k < len(seen) and seen[k] in (Look.NUMBER, Look.TIME) for k in usual)
    return good * 2 >= len(usual)


def _is_whole(seen: Sequence[Look], usual: frozenset[int]) -> bool:
    return all(seen[k] in (Look.NUMBER, Look.TIME) for k in usual)


def _labels(rows: Sequence[Sequence[str]], width: int) -> tuple[str, ...]:
    labels = [""] * width
    for place in range(width):
        counted = Counter(label_of(cells[place]) for cells in rows if place < len(cells) and cells[place].strip())
        label, count = counted.most_common(1)[0] if counted else ("", 0)
        if label and count >= _LABEL_SHARE * counted.total():
            labels[place] = label
    return tuple(labels)


_UNIT_WORDS = re.compile(r"\b(?:units?|einheit|unité|unidad|unità|eenheid|jednostka)\b|单位|単位", re.IGNORECASE)


def _units_of(
    titles: Sequence[str], rows: Sequence[Sequence[str]], usual: frozenset[int]
) -> tuple[tuple[int, int], ...]:
    """The columns of values whose units stand in a column of their own: the one before it, else the one behind."""
    pairs: dict[int, int] = {}
    for place, title in enumerate(titles):
        cells = [row[place].strip() for row in rows if place < len(row) and row[place].strip()]
        if not _UNIT_WORDS.search(title) or not cells or sum(map(is_unit, cells)) < _LABEL_SHARE * len(cells):
            continue
        values = [value for value in sorted(usual) if header_time_unit(titles[value]) is None]
        if values:
            pairs.setdefault(max((value for value in values if value < place), default=values[0]), place)
    return tuple(pairs.items())


class _Header(NamedTuple):
    """Holds what the lines above the data say of the columns.

    Attributes:
        line: the number of the last of them; 0 where none does.
        names: one for each column, with its unit.
        rows: those lines as they are cut.
    """

    line: int
    names: list[str]
    rows: list[list[str]]


_BETWEEN = 5
"""So many lines may stand between the header and the first row of numbers: rules, notes of what happened. A guess."""


def _header(above: Sequence[tuple[int, list[str]]], width: int) -> _Header:
    rows = [(number, [cell.strip().lstrip("\ufeff") for cell in cells]) for number, cells in above]
    for k in range(len(rows) - 1, max(len(rows) - 2 - _BETWEEN, -1), -1):
        line, last = rows[k]
        if not _names_columns(last, width):
            continue
        before = rows[k - 1][1] if k else []
        if _is_unit_row(last) and _names_columns(before, width):
            group = rows[k - 2][1] if k > 1 else []
            return _grouped(group, line, merge_units(before, last), [before, last], width)
        return _grouped(before, line, last, [last], width)
    return _Header(0, [], [])


def _grouped(group: list[str], line: int, names: list[str], used: list[list[str]], width: int) -> _Header:
    """The header, with the row of groups above it where the names alone would not tell the columns apart."""
    if _twice(names) and _names_columns(group, width):
        return _Header(line, merge_groups(group, names), [group, *used])
    return _Header(line, names, used)


def _names_columns(cells: Sequence[str], width: int) -> bool:
    """Tell whether a line may be one of names: hardly a number in it, and a cell for more than half of the columns."""
    filled = [cell for cell in cells if cell]
    if any(_RULE.fullmatch(cell) for cell in filled):
        return False
    return len(cells) * 2 > width and 2 * sum(look(cell) is Look.TEXT for cell in filled) >= len(filled) > 0


def _is_unit_row(cells: Sequence[str]) -> bool:
    units = [unit_in(cell) for cell in cells]
    known = [unit for unit in units if unit in TIME_UNITS or is_unit(unit)]
    return bool(known) and all(may_be_unit(cell) for cell in cells)


_NO_UNIT = frozenset((
    "", "unit", "units", "einheit", "-", "--", "hh:mm:ss", "hh:mm:ss.000", "yyyy-mm-dd", "text", "n/a", "none",
))  # fmt: skip
"""Says what a row of units has below the names of columns that have none."""
_LONGEST_UNIT = 12
_UNIT_CELL = re.compile(r"[\[(<]?\s*(?P<unit>[^\[\]()<>]*?)\s*[\])>]?")


def unit_in(cell: str) -> str:
    """The unit that a cell of a row of units holds, without its brackets."""
    match = _UNIT_CELL.fullmatch(cell.strip())
    return match["unit"] if match else cell.strip()


def may_be_unit(cell: str) -> bool:
    """Tell whether a cell may stand in a row of units: a unit, something short in brackets, or nothing."""
    word = unit_in(cell)
    bracketed = cell.strip().startswith(("[", "(", "<")) and len(word) <= _LONGEST_UNIT
    return bracketed or word.casefold() in _NO_UNIT or word in TIME_UNITS or is_unit(word)


def merge_units(names: Sequence[str], units: Sequence[str]) -> list[str]:
    """The names with their units behind them, as a header of one line has them."""
    merged, width = [], max(len(names), len(units))
    for name, cell in zip(_wide(names, width), _wide(units, width), strict=True):
        unit = unit_in(cell)
        bare = not unit or unit.casefold() in _NO_UNIT or header_name(name) != name
        merged.append(name if bare else f"{name} [{unit}]".strip())
    return merged


def merge_groups(groups: Sequence[str], names: Sequence[str]) -> list[str]:
    """The names with that of their group before them; a group holds until the next one begins."""
    merged, group = [], ""
    for place, name in enumerate(names):
        group = (groups[place] if place < len(groups) else "") or group
        merged.append(f"{group} {name}".strip())
    return merged


def _twice(names: Sequence[str]) -> bool:
    filled = [name for name in names if name]
    return len(set(filled)) < len(filled)


def _wide(cells: Sequence[str], width: int) -> list[str]:
    return [*cells[:width], *[""] * (width - len(cells))]
