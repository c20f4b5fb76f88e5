"""Notices a second table in a file: its rows are none of the first one's."""

from __future__ import annotations

from collections.abc import Sequence

from meterlog.exchange.table.guess import is_time_title
from meterlog.exchange.table.looks import Look, look
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.text_rows import split_line

_LEAST_ROWS = 3
"""So many rows of numbers above the header are a table of their own. A guess."""


def is_header(cells: Sequence[str]) -> bool:
    """Tell whether a line among the rows names columns: words only, and one of them a time."""
    filled = [cell for cell in cells if cell.strip()]
    return len(filled) > 1 and all(look(cell) is Look.TEXT for cell in filled) and any(map(is_time_title, filled))


def refuse_table_below(line: int, cells: Sequence[str]) -> Question:
    """Return what is asked where a second table begins."""
    shown = ", ".join(f"'{cell.strip()}'" for cell in cells if cell.strip())
    answers = (f"1-{line - 1}", f"{line}-")
    return Question(
        f"another table begins in line {line} ({shown}): import one at a time, with --lines {answers[0]} and with"
        f" --lines {answers[1]}",
        "lines",
        answers,
    )


def check_no_table_above(head: Sequence[tuple[int, str]], delimiter: str, header_line: int) -> None:
    """Look whether rows of numbers stand above the header.

    Raises:
        Question: they do.
    """
    above = [split_line(line, delimiter) for number, line in head if number < header_line]
    if sum(map(_is_row, above)) < _LEAST_ROWS:
        return
    answers = (f"{header_line}-", f"1-{header_line - 1}")
    raise Question(
        f"a table of its own stands above line {header_line}: import one at a time, with --lines {answers[0]} and with"
        f" --lines {answers[1]}",
        "lines",
        answers,
    )


def _is_row(cells: Sequence[str]) -> bool:
    looks = [look(cell) for cell in cells]
    return len(cells) > 1 and looks[0] in (Look.NUMBER, Look.TIME) and Look.TEXT not in looks
