"""Drafts a text profile from lines that no profile fits: where their numbers are and which words are their units.

A draft reads only lines of the shape that it was made from, and leaves out a number without a unit: that is the
person's to say. It is offered, never used unasked.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from meterlog.transports import LineSettings
from meterlog_drivers.display.unit_words import UNIT_WORDS

LEAST_LINES = 3
"""Whole lines without which nothing is drafted; a choice."""
LEAST_ALIKE = 0.8
"""Share of the lines that must have one shape; the others may be overloads or other modes. A choice."""
MOST_COLUMNS = 16
"""More is no meter's line; a choice."""
OVERLOAD = ("OL", "O.L", "0L", "0.L", "OVER", "OVLD")
"""Words that mean overload wherever a number may stand."""
UNKNOWN = "no unit: say what it is in place of this line"
_SEPARATORS = (";", "\t", "|", ",")
_CLOCK = r"\d{4}-\d\d-\d\d(?:T[\d:.]+)?|\d\d?[./]\d\d?[./]\d{4}|\d\d?:\d\d(?::\d\d(?:[.,]\d+)?)?"
_NUMBER = (
    r"(?<![\w.,])[-+]?[ ]*(?:"
    + "|".join(re.escape(word) for word in sorted(OVERLOAD, key=len, reverse=True))
    + r"|\d+(?:[.,]\d+)?(?:[eE][-+]?\d{1,2})?|[.,]\d+)(?![\d.,:]*\d)"
)
_PARTS = re.compile(rf"(?P<clock>{_CLOCK})|(?P<number>{_NUMBER})")
_UNITS = "|".join(re.escape(word) for word in sorted(UNIT_WORDS, key=len, reverse=True))
_UNIT_BEHIND = re.compile(rf"\s*(?P<unit>{_UNITS})(?![A-Za-z])")
_UNIT_BEFORE = re.compile(rf"(?<![A-Za-z])(?P<unit>{_UNITS})[\s:=]*$")
_UNIT_APART = re.compile(rf"(?<![A-Za-z])(?P<unit>{_UNITS})(?![A-Za-z])")
_LEAST_APART = 2
"""Letters of a unit that stands apart from its number, or behind other words: a single one may be anything."""
_WHOLE_BY_COMMA = re.compile(r"\d,[-+]?\d+(?![\d.])")
"""A whole number right behind a figure and a comma: decimals, thousands or a column of its own?"""
_CLOCK_PATTERN = r"[\d:.,/T-]+"


class Drafted(NamedTuple):
    """One column.

    Attributes:
        pattern: what its text must be, with `{number}` and `{unit}` where they stand.
        read: it has a number with its unit.
        why: what a person should know of it.
    """

    pattern: str
    read: bool
    why: str


def drafted_profile(data: bytes, line: LineSettings) -> str:
    """Draft a profile in TOML from what a port sent under these line settings; '' where nothing can be said.

    The first line and the last are left out: they may be pieces.
    """
    text = data.decode("utf-8", "replace")
    lines = [one.strip() for one in re.split(r"[\r\n]+", text)[1:-1] if one.strip()]
    if len(lines) < LEAST_LINES or not all(one.isprintable() for one in (one.replace("\t", " ") for one in lines)):
        return ""
    decimal = _decimal(lines)
    for separator in ("", *_SEPARATORS):
        if not decimal or (separator == "," and (decimal == "," or any(map(_WHOLE_BY_COMMA.search, lines)))):
            continue
        columns = _columns(lines, separator)
        if any(column.read for column in columns):
            return "\n".join(_written(lines, columns, separator, decimal, line))
    return ""


def _decimal(lines: Sequence[str]) -> str:
    """The decimal sign; '' where both stand in numbers, so that one of them means something else."""
    numbers = [part["number"] for one in lines for part in _PARTS.finditer(one) if part["number"]]
    plain = [number for number in numbers if number.strip("+- ") not in OVERLOAD]
    signs = {sign for number in plain for sign in ".," if sign in number}
    return "" if len(signs) > 1 else next(iter(signs), ".")


def _columns(lines: Sequence[str], separator: str) -> list[Drafted]:
    """The columns between separators; none where the lines are not alike."""
    rows = [line.split(separator) if separator else [line] for line in lines]
    count, rows_alike = Counter(map(len, rows)).most_common(1)[0]
    if (separator and count < 2) or count > MOST_COLUMNS or rows_alike < LEAST_ALIKE * len(rows):
        return []
    cells = zip(*([cell.strip() for cell in row] for row in rows if len(row) == count), strict=True)
    columns = [_column(column) for column in cells]
    return [] if None in columns else [column for column in columns if column is not None]


def _column(cells: Sequence[str]) -> Drafted | None:
    """One column; None where its cells are not alike, or have several numbers each."""
    shapes = Counter(_shape(cell) for cell in cells)
    shape, count = shapes.most_common(1)[0]
    if shape is None or count < LEAST_ALIKE * len(cells):
        return None
    if shape.read or "{number}" not in shape.pattern:
        return shape
    numbers = [part["number"] for cell in cells for part in _PARTS.finditer(cell) if part["number"]]
    return Drafted(shape.pattern, False, "a counter, as it seems" if _counts(numbers) else UNKNOWN)


def _counts(numbers: Sequence[str]) -> bool:
    """Tell whether whole numbers grow by the same step from line to line."""
    if not all(number.isdecimal() for number in numbers):
        return False
    steps = {int(later) - int(earlier) for earlier, later in pairwise(numbers)}
    return len(steps) == 1 and steps != {0}


def _shape(cell: str) -> Drafted | None:
    """Return what stays the same in a cell; None where it has several numbers."""
    parts = list(_PARTS.finditer(cell))
    numbers = [part for part in parts if part["number"]]
    if len(numbers) > 1:
        return None
    if not numbers:
        return Drafted(_literal(cell), False, "text that must stay as it is")
    start, end = numbers[0].span()
    before, after = cell[:start], cell[end:]
    if unit := _UNIT_BEHIND.match(after):
        return Drafted(_literal(before) + r"{number}\s*{unit}" + _literal(after[unit.end() :]), True, "")
    unit = _UNIT_BEFORE.search(before)
    if unit and (len(unit["unit"]) >= _LEAST_APART or not before[: unit.start()]):
        head, gap = before[: unit.start()], before[unit.end("unit") :]
        return Drafted(f"{_literal(head)}{{unit}}{_literal(gap)}{{number}}{_literal(after)}", True, "")
    apart = [(side, unit) for side in (0, 1) for unit in _UNIT_APART.finditer((before, after)[side])]
    apart = [(side, unit) for side, unit in apart if len(unit["unit"]) >= _LEAST_APART]
    texts = [_literal(before), _literal(after)]
    if len(apart) == 1:
        side, unit = apart[0]
        text = (before, after)[side]
        texts[side] = _literal(text[: unit.start()]) + "{unit}" + _literal(text[unit.end() :])
    return Drafted(f"{texts[0]}{{number}}{texts[1]}", len(apart) == 1, "")


def _literal(text: str) -> str:
    """A pattern for a text as it stands, but any clock for a clock and any white space for white space."""
    return _CLOCK_PATTERN.join(
        r"\s+".join(re.escape(word) for word in re.split(r"\s+", piece)) for piece in re.split(_CLOCK, text)
    )


def _written(
    lines: Sequence[str], columns: Sequence[Drafted], separator: str, decimal: str, line: LineSettings
) -> Iterator[str]:
    yield f"# Drafted from {len(lines)} lines such as {json.dumps(lines[0], ensure_ascii=False)}"
    yield "# Compare what it reads with the display before you rely on it."
    yield 'kind = "text"'
    yield f'lines = ["{line.baud} {line.data_bits}{line.parity}{line.stop_bits}"]'
    if separator:
        yield f"separator = {json.dumps(separator)}"
    if decimal == ",":
        yield 'decimal = ","'
    words = (*OVERLOAD, *(word.replace(".", ",") for word in OVERLOAD if decimal == "," and "." in word))
    yield f"overload = {json.dumps(words)}"
    for column in columns:
        yield "\n[[column]]"
        pattern = f"pattern = {json.dumps(column.pattern, ensure_ascii=False)}"
        if not column.read:
            yield f"skip = true  # {column.why}"
        if column.why == UNKNOWN:
            yield f'# quantity = "dc_voltage"\n# unit = "mV"\n# {pattern}'
        elif "{number}" not in column.pattern or column.read:
            yield pattern
    yield ""
