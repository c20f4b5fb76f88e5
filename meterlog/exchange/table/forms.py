"""Files that are tables in another dress: their lines are translated into those of a plain table before it is read."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from itertools import dropwhile, pairwise, zip_longest
from typing import NamedTuple

from meterlog.errors import TableError
from meterlog.exchange.table.grid import Grid, find_grid
from meterlog.exchange.table.layout import DELIMITERS, grids_of
from meterlog.exchange.table.looks import Look, look
from meterlog.exchange.table.text_rows import LONGEST_LINE, split_line

Translate = Callable[[Iterator[str]], Iterator[str]]
Head = Sequence[tuple[int, str]]

_USUALLY = 0.8
"""So many lines must have a form for the file to have it. A guess."""
_PLAIN_FIT = 0.5
"""A plain table explains at least this much of the lines. A guess."""
_FEW_LINES, _LONG_LINE, _TIMES_LINES = 64, 100, 10
"""A file of so few lines, each of so many numbers and so many times more than there are lines, has its rows and columns
exchanged. A guess."""


class Form(NamedTuple):
    """Holds how the lines of a file become those of a plain table.

    Attributes:
        described: for a person.
        translate: lines into lines.
        delimiter: of the lines that come out; None where it is still to be found.
        exact: whether a row that lacks a cell has its others in wrong places.
    """

    described: str
    translate: Translate
    delimiter: str | None = None
    exact: bool = False


def find_form(head: Head, whole: bool, delimiter: str | None) -> Form | None:
    """The form of a file; None for a plain table.

    Args:
        head: its first lines.
        whole: whether these are all.
        delimiter: as given by `--delimiter`.
    """
    if _is_quoted_as_a_whole(head):
        return Form("each line quoted as a whole", _unquoted)
    if form := _guarded(head):
        return form
    if whole and (mark := _exchanged_by(head, delimiter)):
        return Form("rows and columns exchanged", partial(_exchanged, mark), "\t")
    if delimiter is not None:
        return None
    plain = grids_of(head, None)
    fit = max((grid.fit for grid in plain if grid.delimiter != "space"), default=0.0)
    if fit >= _PLAIN_FIT:
        return None
    candidates = [Form("columns two or more blanks apart", _two_blanks, "\t", exact=True), *_fixed_width(head)]
    candidates += [Form("named values in each line", _named_values, "\t"), *_records(head)]
    rated = [(_rate(form, head), form) for form in candidates]
    spaced = max((_rated(grid) for grid in plain if grid.delimiter == "space"), default=0.0)
    best, form = max(rated, key=lambda one: (round(one[0], 2), not one[1].exact))
    return form if best > max(spaced, fit) and best >= _PLAIN_FIT else None


_GUARDS = (
    ("cells as formulas of texts", re.compile(r'="([^"]*)"')),
    ("cells in apostrophes", re.compile(r"'([^',;\t]*)'")),
)


def _guarded(head: Head) -> Form | None:
    """Cells that a spreadsheet shall not touch, or that a program put into apostrophes."""
    filled = [line for _, line in head if line.strip()]
    for described, guard in _GUARDS:
        if sum(guard.search(line) is not None for line in filled) > _USUALLY * len(filled) > 1:
            return Form(described, partial(_unguarded, guard))
    return None


def _unguarded(guard: re.Pattern[str], lines: Iterator[str]) -> Iterator[str]:
    return (guard.sub(r"\1", line) for line in lines)


def _rate(form: Form, head: Head) -> float:
    lines = form.translate(line for _, line in head)
    numbered = list(enumerate(lines, 1))
    grid = find_grid(numbered, "\t")
    if grid is None:
        return 0.0
    rows = [line.count("\t") + 1 for number, line in numbered if number > grid.header_line and line.strip()]
    return _rated(grid) if not form.exact or set(rows) == {grid.width} else 0.0


def _rated(grid: Grid) -> float:
    """Return how well a grid explains the lines, with a little more where it names every column."""
    return grid.fit + 0.1 * sum(map(bool, grid.titles)) / grid.width


def _is_quoted_as_a_whole(head: Head) -> bool:
    lines = [line.strip() for _, line in head if line.strip()]
    quoted = [line for line in lines if len(line) > 2 and line[0] == line[-1] == '"']
    if len(quoted) < _USUALLY * len(lines) or not lines:
        return False
    inner = [line[1:-1] for line in quoted]
    cut = [text for text in inner if look(text) is Look.TEXT and any(mark in text for mark in ",;\t|")]
    return len(cut) >= _USUALLY * len(quoted) and all(map(_one_cell, quoted))


def _one_cell(line: str) -> bool:
    """Tell whether a line is a single quoted cell: its inner quotes all come in pairs."""
    return '"' not in line[1:-1].replace('""', "")


def _unquoted(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        text = line.rstrip("\r\n")
        end = line[len(text) :]
        text = text.strip()
        whole = len(text) > 1 and text[0] == text[-1] == '"' and _one_cell(text)
        yield (text[1:-1].replace('""', '"') if whole else text) + end


def _exchanged_by(head: Head, delimiter: str | None) -> str | None:
    """The delimiter of a file whose rows and columns are exchanged."""
    lines = [line for _, line in head if line.strip()]
    if not lines or len(lines) > _FEW_LINES:
        return None
    for mark in [delimiter] if delimiter else list(DELIMITERS.values()):
        rows = [split_line(line, mark) for line in lines]
        longest = max(map(len, rows))
        if longest < max(_LONG_LINE, _TIMES_LINES * len(lines)):
            continue
        long_rows = [row[1:_LONG_LINE] for row in rows if len(row) * 2 > longest]
        numbers = [sum(look(cell) in (Look.NUMBER, Look.TIME) for cell in row) / len(row) for row in long_rows]
        if min(numbers) >= _USUALLY:
            return mark
    return None


def _exchanged(mark: str, lines: Iterator[str]) -> Iterator[str]:
    rows, characters = [], 0
    for line in lines:
        characters += len(line)
        if characters > LONGEST_LINE:
            raise TableError(
                f"the lines that hold its columns are longer than {LONGEST_LINE // 1_000_000} million characters"
            )
        if line.strip():
            rows.append([cell.replace("\t", " ").strip() for cell in split_line(line, mark)])
    for cells in zip_longest(*rows, fillvalue=""):
        yield "\t".join(cells) + "\n"


def _two_blanks(lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        yield re.sub(r"[ \t]{2,}|\t", "\t", line.strip()) + "\n"


_LEAST_LINES = 5
"""Columns of fixed width show only over so many lines. A guess."""


def _fixed_width(head: Head) -> list[Form]:
    """The places that are blank in every line cut the columns."""
    lines = [line.rstrip("\r\n") for _, line in head if line.strip()]
    later = list(dropwhile(lambda line: sum(look(word) is not Look.TEXT for word in line.split()) < 2, lines))
    if len(later) < _LEAST_LINES or any("\t" in line for line in later):
        return []
    width = max(map(len, later))
    blank = [all(line[k : k + 1] in ("", " ") for line in later) for k in range(width)]
    starts = [k for k in range(width) if not blank[k] and (k == 0 or blank[k - 1])]
    ends = [*starts[1:], width]
    starts = [
        start
        for start, end in zip(starts, ends, strict=True)
        if all(blank[max(start - 2, 0) : start])
        or 2 * sum(bool(line[start:end].strip()) for line in later) > len(later)
    ]
    if len(starts) < 2:
        return []
    return [Form("columns of fixed width", partial(_cut, tuple(starts)), "\t")]


def _cut(starts: tuple[int, ...], lines: Iterator[str]) -> Iterator[str]:
    for line in lines:
        text = line.rstrip("\r\n")
        # A title may be longer than the numbers below it: each cut moves left to the next blank.
        cuts = [0, *(_blank_before(text, start) for start in starts[1:]), len(text)]
        yield "\t".join(text[a:b].strip() for a, b in pairwise(cuts)) + "\n"


def _blank_before(text: str, start: int) -> int:
    while 0 < start < len(text) and text[start - 1] != " ":
        start -= 1
    return start


_PAIR = re.compile(
    r"\"?(?P<name>[^\W\d][\w()/%°.-]*(?: [\w()/%°.-]+)*?)\"?\s*[:=]\s*"
    r"(?P<value>[-+]?(?:\d[\d.,]*\d|\d)(?:[eE][-+]?\d+)?(?:\s?(?:[pnumkM\u00b5\u03bc]?(?:V|A|Ohm|ohm|Hz|F)|\u03a9|%|°C)(?![\w]))?)"
)


def _named_values(lines: Iterator[str]) -> Iterator[str]:
    """Each named value a cell, and what stands before the first, a time mostly, another."""
    for line in lines:
        text = line.strip()
        pairs = list(_PAIR.finditer(text))
        if not pairs:
            yield text + "\n"
            continue
        before = text[: pairs[0].start()].strip(" ,;|[]{}-")
        cells = [f"{pair['name'].strip()}={pair['value']}" for pair in pairs]
        yield "\t".join([before, *cells] if before else cells) + "\n"


_ONE_PAIR = re.compile(r"\s*(?P<name>[^\W\d][^:=]{0,40}?)\s*[:=]\s*(?P<value>\S.*?)\s*")
_LEAST_RECORDS = 3


def _records(head: Head) -> list[Form]:
    """A line a value: a record begins where the first name comes again."""
    pairs = [match for _, line in head if (match := _ONE_PAIR.fullmatch(line.rstrip("\r\n")))]
    names = [pair["name"] for pair in pairs]
    filled = sum(1 for _, line in head if line.strip())
    if len(pairs) < _USUALLY * filled or not names or names.count(names[0]) < _LEAST_RECORDS:
        return []
    order = tuple(dict.fromkeys(names))
    if len(order) < 2 or len(order) > _FEW_LINES:
        return []
    return [Form("records of a line for each value", partial(_joined_records, order), "\t")]


def _joined_records(order: tuple[str, ...], lines: Iterator[str]) -> Iterator[str]:
    yield "\t".join(order) + "\n"
    record: dict[str, str] = {}
    for line in lines:
        pair = _ONE_PAIR.fullmatch(line.rstrip("\r\n"))
        if pair is not None and pair["name"] == order[0] and record:
            yield _record(order, record)
            record = {}
        if pair is not None and pair["name"] in order:
            record[pair["name"]] = pair["value"]
        elif line.strip():
            yield line
    if record:
        yield _record(order, record)


def _record(order: tuple[str, ...], record: dict[str, str]) -> str:
    return "\t".join(record.get(name, "") for name in order) + "\n"
