"""Cuts lines of bare numbers into columns in one go, and reads a column's numbers without making a text of each.

Beside the readers of pandas and pyarrow: as quick once imported, exact to the last bit, and importing either takes
longer than a million rows do here.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import NamedTuple, overload

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]
Places = NDArray[np.int64]

_ZERO, _MINUS, _LINE_END = b"0-\n"
_POINT_DIGIT = (ord(".") - _ZERO) % 256
"""A point, taken for a digit."""
_MOST_DIGITS = 15
"""Whole numbers of so many digits, and powers of ten up to 22, are exact as float64, so their quotient is the float
nearest to what the cell says."""
_POWERS = 10.0 ** np.arange(_MOST_DIGITS + 1)
_LONGEST = _MOST_DIGITS + 1
"""Digits and a point."""


class Numbers(NamedTuple):
    """A column's numbers.

    Attributes:
        value: one for each cell.
        decimals: how many digits stand behind the point.
    """

    value: NDArray[np.float64]
    decimals: NDArray[np.int64]


class EvenCells(Sequence[str]):
    """A column's cells as places in the bytes of a text; a cell becomes a `str` when it is asked for."""

    def __init__(self, text: Bytes, start: Places, end: Places) -> None:
        """Take the bytes, and where each cell starts and ends in them."""
        self._text, self._start, self._end = text, start, end
        self._numbers: Numbers | None = None

    def __len__(self) -> int:
        return len(self._start)

    @overload
    def __getitem__(self, place: int) -> str: ...
    @overload
    def __getitem__(self, place: slice) -> EvenCells: ...
    def __getitem__(self, place: int | slice) -> str | EvenCells:
        if isinstance(place, slice):
            return self._some(place)
        return self._text[self._start[place] : self._end[place]].tobytes().decode("ascii")

    def __iter__(self) -> Iterator[str]:
        whole = self._text.tobytes().decode("ascii")
        return (whole[a:b] for a, b in zip(self._start.tolist(), self._end.tolist(), strict=True))

    def chosen(self, good: NDArray[np.bool_]) -> EvenCells:
        """The cells where `good` holds."""
        return self._some(good)

    def before(self, later: EvenCells) -> EvenCells:
        """These cells and then the later ones."""
        behind = len(self._text)
        return EvenCells(
            np.concatenate((self._text, later._text)),
            np.concatenate((self._start, later._start + behind)),
            np.concatenate((self._end, later._end + behind)),
        )

    def _some(self, which: slice | NDArray[np.bool_]) -> EvenCells:
        start, end = self._start[which], self._end[which]
        if not len(start):
            return EvenCells(self._text[:0], start, end)
        first = int(start[0])  # the rest of the text is let go
        return EvenCells(self._text[first : int(end[-1])], start - first, end - first)

    @property
    def numbers(self) -> Numbers | None:
        """Return what the cells say, a point before the decimals; None where one is none or has too many digits."""
        if self._numbers is None:
            self._numbers = _numbers(self._text, self._start, self._end)
        return self._numbers

    def counted(self) -> dict[str, int]:
        """The different cells and how often each comes; those of one number and one count of decimals are the same."""
        if (numbers := self.numbers) is None:
            return Counter(self)
        counts: dict[str, int] = {}
        for decimals in np.flatnonzero(np.bincount(numbers.decimals)).tolist():
            there = np.flatnonzero(numbers.decimals == decimals)
            one, count = _counted(np.rint(numbers.value[there] * _POWERS[decimals]).astype(np.int64))
            counts |= {self[there[k]]: times for k, times in zip(one.tolist(), count.tolist(), strict=True)}
        return counts


def _counted(shown: Places) -> tuple[Places, Places]:
    """Where one of each different number is, and how often it comes."""
    least = int(shown.min())
    span = int(shown.max()) - least + 1
    if span > len(shown):  # they lie too far apart for a table of them
        _, one, count = np.unique(shown, return_index=True, return_counts=True)
        return one, count
    one = np.empty(span, np.int64)
    one[shown - least] = np.arange(len(shown))
    count = np.bincount(shown - least, minlength=span)
    came = np.flatnonzero(count)
    return one[came], count[came]


def _numbers(text: Bytes, start: Places, end: Places) -> Numbers | None:
    minus = text[start] == _MINUS
    start = start + minus
    length = end - start
    longest, shortest = int(length.max(initial=0)), int(length.min(initial=1))
    if longest > _LONGEST or shortest < 1:
        return None
    value = np.zeros(len(start))
    weight: float | NDArray[np.float64] = 1.0  # of the digit, for all cells as long as their points stand in one place
    decimals, points = np.zeros((2, len(start)), np.int64)
    at = end.copy()
    for k in range(longest):
        at -= 1
        digit = text[at] - np.uint8(_ZERO)
        is_point = digit == _POINT_DIGIT
        known = (digit < 10) | is_point
        if k >= shortest:
            outside = k >= length
            digit[outside] = 0
            is_point &= ~outside
            known |= outside
        if not known.all():
            return None
        if not is_point.any():
            value += digit * weight
            weight = weight * 10.0
            continue
        decimals[is_point] = k
        points += is_point
        digit[is_point] = 0
        value += digit * weight
        weight = np.where(is_point, weight, weight * 10.0)
    digits = length - points
    if points.max(initial=0) > 1 or digits.min(initial=1) < 1 or digits.max(initial=0) > _MOST_DIGITS:
        return None
    value /= _POWERS[decimals]
    return Numbers(np.where(minus, -value, value), decimals)


def even_columns(text: str, delimiter: str, width: int) -> list[EvenCells] | None:
    """Cut whole lines that hold bare numbers only, each line `width` of them; None where one holds anything else.

    Args:
        text: lines with their ends.
        delimiter: one ASCII character.
        width: cells in each line.
    """
    if not text.isascii() or not delimiter.isascii() or len(delimiter) != 1:
        return None
    plain = text.replace("\r\n", "\n") if "\r" in text else text
    written = plain.encode("ascii")
    if written.translate(None, b"0123456789.-\n" + delimiter.encode()):
        return None
    marks = np.frombuffer(written, np.uint8)
    ends = np.flatnonzero((marks == ord(delimiter)) | (marks == _LINE_END))
    rows, over = divmod(len(ends), width)
    if over or not rows or int(ends[-1]) != len(marks) - 1:
        return None
    is_line_end = (marks[ends] == _LINE_END).reshape(rows, width)
    if is_line_end[:, :-1].any() or not is_line_end[:, -1].all():
        return None
    starts = np.concatenate(([0], ends[:-1] + 1))
    if (starts == ends).any():  # an empty cell
        return None
    return [EvenCells(marks, starts[place::width], ends[place::width]) for place in range(width)]
