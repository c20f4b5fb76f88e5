"""Numbers as tables show them: decimal marks, thousands, units in cells, overload words, decimals shown."""

from __future__ import annotations

import math
import re
from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.errors import TableError
from meterlog.reading import Flag, Quantity
from meterlog.text.units import Unit, find_unit

_SPACES = "\u0020\u00a0\u2009\u202f"
_NUMBER = re.compile(
    rf"(?P<sign>[+\-\u2212]?)[{_SPACES}]*(?P<body>\d[\d.,'\u2019{_SPACES}]*|[.,]\d+)(?P<exponent>[eE][+-]?\d{{1,4}})?"
    rf"[{_SPACES}]*(?P<unit>[^\d{_SPACES}.,+\-][^\d.,+\-]*)?"
)
_LAST_DECIMAL = re.compile(r"[^eE]*[.,]\d*(\d)")

OVERLOAD_WORDS = frozenset((
    "ol", "0l", "ofl", "ovl", "ovfl", "ovld", "ovrng", "overrng", "over", "overload", "overrange", "over-range",
    "overflow", "outofrange", "open", "inf", "infinity", "∞",
))  # fmt: skip
"""Case, blanks and dots are passed over, so that `O.L`, `.OL` and `0.L` are all `ol`. `--overload` adds to them."""


BLANK_WORDS = frozenset(("", "-", "--", "---", "----", "nan", "na", "n/a", "null", "none", "#n/a"))
"""No reading there."""

_SCPI_INFINITY, _SCPI_NAN = 9.9e37, 9.91e37  # IEEE 488.2 / SCPI: what an instrument sends for overload and no value


class Cell(NamedTuple):
    """A value cell understood.

    Attributes:
        value: in the quantity's unit; NaN where there is no reading.
        decimals: digits after the mark, less the exponent and prefix: one count is scale * 10 ** -decimals; None
            where nothing shows it.
        flags: `Flag` bits.
        state: `GOOD`, `BLANK`, `TEXT` (no number) or `FOREIGN` (a unit of another quantity).
        scale: the unit shown in the quantity's own: a degree Fahrenheit is 1 / 1.8 of one Celsius.
    """

    value: float
    decimals: int | None
    flags: int
    state: int
    scale: float = 1.0


GOOD, BLANK, TEXT, FOREIGN = range(4)


class MarkSurvey:
    """Collects, over a whole column, what the marks `.` and `,` can mean."""

    def __init__(self) -> None:
        self._decimal: dict[str, str] = {}  # mark -> a cell where it can only be the decimal mark
        self._either: dict[str, str] = {}  # mark -> a cell where it may be either
        self._alone: dict[str, str] = {}  # mark -> a cell that has it once, and no other
        self._groups = False  # whether a cell shows that one of the marks groups thousands
        self.comma_in_times = False
        """Tell whether parts of seconds stand behind a comma: then those of other numbers do."""

    def see(self, cells: Collection[str]) -> None:
        """Look at cells; those that are no numbers say nothing."""
        whole = "\n".join(cells)
        if not ("." in whole and "." not in self._decimal) and not ("," in whole and "," not in self._decimal):
            return  # nothing new can come of them
        for cell in cells:
            if "." not in cell and "," not in cell:
                continue
            match = _NUMBER.fullmatch(cell.strip())
            if match is not None:
                self._see_body(match["body"], cell.strip(), scientific=bool(match["exponent"]))

    def _see_body(self, body: str, cell: str, *, scientific: bool) -> None:
        dots, commas = body.count("."), body.count(",")
        if dots and commas:
            mark = "." if body.rindex(".") > body.rindex(",") else ","
            self._groups = True
            if body.count(mark) == 1:
                self._decimal.setdefault(mark, cell)
            return
        mark = "." if dots else ","
        if dots + commas == 1:
            self._alone.setdefault(mark, cell)
        self._groups |= dots + commas > 1
        if dots + commas > 1:  # 1.234.567: thousands, so the decimal mark is the other one
            self._decimal.setdefault("," if dots else ".", cell)
        elif not scientific and re.fullmatch(r"[1-9]\d{0,2}[.,]\d{3}", body):
            self._either.setdefault(mark, cell)
        elif dots + commas:
            self._decimal.setdefault(mark, cell)

    @property
    def mixed(self) -> tuple[str, str] | None:
        """A cell with a point and one with a comma, where nothing shows that either of them groups thousands."""
        return None if self._groups or len(self._alone) < 2 else (self._alone["."], self._alone[","])

    @property
    def likely(self) -> tuple[str, str]:
        """The marks, the likelier first: the one that stands in the cells."""
        return (",", ".") if "," in self._either else (".", ",")

    @property
    def certain(self) -> str | None:
        """The decimal mark, where cells show that it can only be that one."""
        return next(iter(self._decimal)) if len(self._decimal) == 1 else None

    def decimal_mark(self, delimiter: str) -> str:
        """The decimal mark.

        Raises:
            TableError: the cells leave both possibilities, or contradict each other.
        """
        if len(self._decimal) == 2:
            raise TableError(
                f"some numbers have a decimal point ('{self._decimal['.']}') and some a decimal comma"
                f" ('{self._decimal[',']}'): say which is meant with --decimal . or --decimal ,"
            )
        if self._decimal:
            return next(iter(self._decimal))
        if self.comma_in_times:
            return ","
        # In a file of semicolons a point may group thousands; elsewhere nobody writes only such numbers.
        unclear = self._either.get(",") or (self._either.get(".") if delimiter == ";" else None)
        if unclear:
            raise _two_readings(unclear)
        return "."

    def check_beside(self, mark: str, delimiter: str) -> None:
        """Look whether these cells can follow what others of the table show.

        Args:
            mark: the decimal mark of the others.
            delimiter: of the table; cells that hold it stand in quotes, as numbers do that it groups.

        Raises:
            TableError: they may have the other mark.
        """
        other = "," if mark == "." else "."
        if not self._decimal and not self.mixed and other in self._either and delimiter != other:
            raise _two_readings(self._either[other])


def _two_readings(cell: str) -> TableError:
    return TableError(
        f"'{cell}' can be read as {cell.replace(',', '.')} or as {re.sub('[.,]', '', cell)}:"
        f" say which with --decimal {'. or --decimal ,' if '.' in cell else ', or --decimal .'}"
    )


class CellReader(dict[str, Cell]):
    """Understands the cells of one column; remembers those it has seen, since a display repeats itself.

    Args:
        quantity: what the column holds.
        unit: the unit of cells that show none; None when every cell must show its own.
        decimal: `.` or `,`.
        overload: further overload words.
        blank: further words, or numbers, for no reading.
        numbers: texts that are numbers whatever they look like.

    Attributes:
        numbers: as given.
        scale: of the unit, so that the value by it is the number that the cell shows.
    """

    MOST = 200_000
    """Cells remembered, at the most."""

    def __init__(
        self, quantity: Quantity, unit: Unit | None, decimal: str, overload: Iterable[str] = (),
        blank: Iterable[str] = (), numbers: Iterable[str] = (),
    ) -> None:  # fmt: skip
        super().__init__()
        self.numbers = frozenset(numbers)
        self.scale = 10.0**unit.exponent if unit is not None else 1.0
        self._blank = frozenset(map(str.casefold, blank))
        self._quantity, self._unit = quantity, unit
        self._decimal = decimal
        self._group = r"[,'\u2019" if decimal == "." else r"[.'\u2019"
        self._body = re.compile(
            rf"(?P<whole>\d+|\d{{1,3}}(?:{self._group}{_SPACES}]\d{{3}})+)?(?:{re.escape(decimal)}(?P<part>\d*))?"
        )
        self._overload = OVERLOAD_WORDS | set(overload) | {_bare(word) for word in overload if not _is_number(word)}
        self._substituted = any(map(_is_number, (*overload, *blank)))

    @property
    def is_plain(self) -> bool:
        """Tell whether bare digits with a point are values as they stand."""
        return (
            self._decimal == "."
            and self._unit is not None
            and self._unit.exponent == 0
            and self._unit.base != "degF"
            and not self._substituted
        )

    def __missing__(self, cell: str) -> Cell:
        if len(self) >= self.MOST:
            self.clear()
        self[cell] = understood = self._understand(cell.strip())
        return understood

    def _understand(self, cell: str) -> Cell:
        if cell.casefold() in self._blank:
            return Cell(math.nan, None, 0, BLANK)
        if cell in self._overload:
            return Cell(math.copysign(math.inf, -1 if cell.startswith("-") else 1), None, int(Flag.OVERLOAD), GOOD)
        if cell.casefold() in BLANK_WORDS and _bare(cell) not in self._overload:
            return Cell(math.nan, None, 0, BLANK)
        match = _NUMBER.fullmatch(cell)
        if match is None:
            return self._word(cell)
        body = self._body.fullmatch(match["body"].rstrip(_SPACES))
        if body is None:
            return Cell(math.nan, None, 0, TEXT)
        unit = self._unit
        if word := match["unit"]:
            if (found := find_unit(word, self._quantity)) is None:
                return self._word(cell)
            unit = found
        if unit is None or not unit.fits(self._quantity):
            return Cell(math.nan, None, 0, FOREIGN)
        return self._number(match, body["whole"] or "0", body["part"] or "", unit)

    def _number(self, match: re.Match[str], whole: str, part: str, unit: Unit) -> Cell:
        sign = "-" if match["sign"] in ("-", "\u2212") else ""
        exponent = int((match["exponent"] or "e0")[1:])
        digits = re.sub(r"\D", "", whole)
        shown = float(f"{digits}.{part}e{exponent}")
        if shown == _SCPI_NAN:
            return Cell(math.nan, None, 0, BLANK)
        if shown == _SCPI_INFINITY or math.isinf(shown):
            return Cell(math.copysign(math.inf, -1 if sign else 1), None, int(Flag.OVERLOAD), GOOD)
        exponent += unit.exponent
        # One conversion from text: 12.34 mV is the float nearest to 0.01234.
        value = float(f"{sign}{digits}.{part}e{exponent}")
        if unit.base == "degF":
            return Cell((value - 32.0) / 1.8, len(part) - exponent, 0, GOOD, 1 / 1.8)
        return Cell(value, len(part) - exponent, 0, GOOD)

    def _word(self, cell: str) -> Cell:
        sign, rest = (-1, cell[1:]) if cell.startswith(("-", "\u2212")) else (1, cell.removeprefix("+"))
        for word in (rest, *_without_unit(rest, self._quantity)):
            # `> 40.00`: more than the range holds.
            if _bare(word) in self._overload or (word.startswith(">") and _is_number(word[1:])):
                return Cell(math.copysign(math.inf, sign), None, int(Flag.OVERLOAD), GOOD)
        return Cell(math.nan, None, 0, TEXT)


def _bare(word: str) -> str:
    return re.sub(r"[\s.,]", "", word).casefold()


def _is_number(text: str) -> bool:
    return _NUMBER.fullmatch(text.strip()) is not None


def is_overload_word(text: str) -> bool:
    """Tell whether a cell says overload, with or without a sign."""
    word = text.lstrip("+-\u2212")
    return _bare(word) in OVERLOAD_WORDS or (word.startswith(">") and _is_number(word[1:]))


def _without_unit(text: str, quantity: Quantity) -> list[str]:
    """`OL MΩ` without its unit."""
    head, _, tail = text.rpartition(" ")
    return [head] if head and find_unit(tail, quantity) is not None else []


class ShownDecimals:
    """Finds what one count of a column is, from the decimals its cells show.

    A file that keeps trailing zeros shows each reading's own count, also across ranges. One that drops them (12.6
    for 12.60) shows it only over the whole column: the most decimals that occur. Whether it keeps them shows in the
    cells with the most decimals: where zeros are dropped, none of them ends in one.
    """

    def __init__(self) -> None:
        self._most: int | None = None
        self._zero_kept = False

    def see(self, cell: str, decimals: int | None) -> None:
        """Look at a cell that was understood."""
        if decimals is None or (self._most is not None and decimals < self._most):
            return
        if self._most is None or decimals > self._most:
            self._most, self._zero_kept = decimals, False
        last = _LAST_DECIMAL.match(cell)
        if last is not None and last[1] == "0":
            self._zero_kept = True

    def resolution(self, decimals: int | None) -> float:
        """One count of a reading with that many decimals, in the quantity's unit; NaN where nothing shows it."""
        if decimals is None or self._most is None:
            return math.nan
        return float(f"1e{-(decimals if self._zero_kept else self._most)}")


_PLAIN = re.compile(r"[-+0-9.\n]*")


def plain_numbers(cells: Sequence[str]) -> tuple[NDArray[np.float64], NDArray[np.int64]] | None:
    """Values and decimals of cells that are nothing but digits, signs and points; None where one is more than that.

    The same figures as `CellReader` gives for a decimal point and no prefix, in a tenth of the time: for columns
    where hardly a cell comes twice.
    """
    if not _PLAIN.fullmatch("\n".join(cells)):
        return None
    try:
        values = np.array(list(map(float, cells)))
    except ValueError:
        return None
    text = np.array(cells)
    point = np.char.find(text, ".")
    return values, np.where(point < 0, 0, np.char.str_len(text) - point - 1)
