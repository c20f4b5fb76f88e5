"""Finds out what kind of times a column holds, and refuses where it could be two kinds."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import UTC, datetime

from meterlog.errors import TableError
from meterlog.exchange.table.looks import Look, look
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.time_text import (
    DAY_S,
    ClockTime,
    DatedTime,
    IsoTime,
    NumberTime,
    TimeReader,
    clock_s,
    has_zone,
    possible_orders,
    split_date,
)
from meterlog.exchange.table.time_unit import number_kind

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?\s*(Z|[+-]\d{2}:?\d{2})?)?")
_SHOWS_PART = re.compile(r"[.,eE]")
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")

ORDERS = ("dmy", "mdy", "ymd")


class TimeSurvey:
    """Collects, over a whole column, what its times can be."""

    _FEW = 2000

    def __init__(self) -> None:
        self._cells: list[str] = []  # the first ones that are times of some kind
        self._days: dict[str, None] = {}  # every date that occurs

    def see(self, cells: Sequence[str]) -> None:
        """Look at cells; those that are no times say nothing."""
        if len(self._cells) < self._FEW:
            texts = [cell.strip() for cell in cells[: self._FEW]]
            self._cells += [text for text in texts if _NUMBER.fullmatch(text) or look(text) is Look.TIME]
        if self._cells and split_date(self._cells[0])[0] and not _ISO.fullmatch(self._cells[0]):
            self._days |= dict.fromkeys(day for cell in cells if (day := split_date(cell.strip())[0]))

    def reader(
        self, *, title: str, unit: str | None = None, order: str | None = None, clock: str | None = None,
        decimal: str = ".",
    ) -> TimeReader:  # fmt: skip
        """The reader for this column.

        Args:
            title: the header cell, which may state the unit.
            unit: as given by `--time-unit`, one of `UNIT_CHOICES`.
            order: as given by `--date-order`.
            clock: as given by `--clock`: `hm` or `ms`.
            decimal: the decimal mark of numbers.

        Raises:
            TableError: no cell is a time.
            Question: they could be two kinds.
        """
        if not self._cells:
            raise TableError("no cell of the time column is a time; 'meterlog import --help' lists the kinds it knows")
        numbers = [cell for cell in self._cells if _NUMBER.fullmatch(cell)]
        if len(numbers) * 2 > len(self._cells):
            return _number_reader(numbers, title, unit, decimal)
        iso = [cell for cell in self._cells if _ISO.fullmatch(cell)]
        if len(iso) * 2 > len(self._cells) and order in (None, "ymd"):
            return IsoTime(_zoned(iso))
        dated = [cell for cell in self._cells if split_date(cell)[0]]
        if len(dated) * 2 > len(self._cells):
            return DatedTime(order or self._order(), _zoned(dated))
        return self._clock_reader(clock)

    def _order(self) -> str:
        """The one order in which every date of the column can be read."""
        days = [day for day in self._days if possible_orders(day)]
        if not days:
            raise TableError("the dates in the time column fit no order of day, month and year")
        orders = set(ORDERS)
        for day in days:
            orders &= possible_orders(day)
        if len(orders) == 1:
            return orders.pop()
        day = days[0]
        if not orders:
            raise TableError(f"the dates ('{day}', ...) are not all in one order of day, month and year")
        readings = " or as ".join(_read_as(day, order) for order in ORDERS if order in orders)
        choices = " or ".join(f"--date-order {order}" for order in ORDERS if order in orders)
        answers = tuple(order for order in ORDERS if order in orders)
        raise Question(f"the date '{day}' can be read as {readings}: say which with {choices}", "date_order", answers)

    def _clock_reader(self, clock: str | None) -> TimeReader:
        if clock is not None:
            return ClockTime(clock == "ms")
        two_parts = [cell for cell in self._cells if cell.count(":") == 1]
        if len(two_parts) * 2 <= len(self._cells):
            return ClockTime(False)
        if any("." in cell or "," in cell for cell in two_parts):
            return ClockTime(True)  # hours and minutes have no decimals
        if any(_clock_or_more(cell) for cell in two_parts):
            return ClockTime(True)
        cell = two_parts[0]
        hours, _, minutes = cell.partition(":")
        raise Question(
            f"the time '{cell}' can be read as {int(hours)} h {minutes} min or as {int(hours)} min {minutes} s:"
            " say which with --clock hm or --clock ms",
            "clock",
            ("hm", "ms"),
        )


def _number_reader(numbers: Sequence[str], title: str, unit: str | None, decimal: str) -> TimeReader:
    kind = number_kind(NumberTime(decimal).many(numbers), not any(map(_SHOWS_PART.search, numbers)), title, unit)
    return NumberTime(decimal, kind)


def _clock_or_more(cell: str) -> bool:
    """Tell whether the first part is beyond any hour of the day."""
    try:
        return clock_s(cell) >= DAY_S
    except ValueError:
        return False


def _zoned(cells: list[str]) -> bool:
    return sum(map(has_zone, cells)) * 2 > len(cells)


def _read_as(day: str, order: str) -> str:
    moment = datetime.fromtimestamp(DatedTime(order, False).one(day), UTC)
    return f"{moment.day} {moment:%B %Y}"
