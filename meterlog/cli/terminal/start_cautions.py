"""The cautions with which a recording begins, in such an order that the most dangerous stays on a small screen."""

from __future__ import annotations

from collections.abc import Iterable

from meterlog.cautions import DEFERS, applying, sentence
from meterlog.cli.terminal.wrap import wrapped_at
from meterlog.near_words import recording
from meterlog.reading import Quantity

_WIDE_COLUMNS = 80
_ROWS_BELOW, _ROWS_BELOW_WIDE = 11, 6
"""Rows that one channel takes below its cautions: what is measured, and its live view with what was not seen; counted
at 40 columns and at 80."""


def start_cautions(place: str, size: tuple[int, int] | None) -> list[str]:
    """Return the cautions of a place, whatever will be measured there, each a line to be wrapped.

    Where they would push the first reading off the screen, or the reading them, the most dangerous comes last: those
    before it are the ones that scroll away.

    Args:
        place: all that was said about what is measured.
        size: columns and rows of the terminal; None for a file or a pipe.
    """
    general = applying(recording(place))
    lines = [caution_line(text) for text in (*general, sentence(DEFERS))]
    if size is None:
        return lines
    columns, rows = size
    its_own = max(
        _rows((caution_line(text) for text in applying(recording(place, quantity)) if text not in general), columns)
        for quantity in Quantity
    )
    below = _ROWS_BELOW_WIDE if columns >= _WIDE_COLUMNS else _ROWS_BELOW
    fits = _rows(lines, columns) + its_own + below <= rows
    return lines if fits else lines[::-1]


def caution_line(text: str) -> str:
    """Return a caution as it is printed."""
    return f"caution: {text}"


def _rows(lines: Iterable[str], columns: int) -> int:
    return sum(1 + wrapped_at(line, columns).count("\n") for line in lines)
