"""Finds out what kind of times a column holds, and refuses where it could be two kinds."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from itertools import pairwise

from meterlog.errors import TableError
from meterlog.exchange.table.duration_text import DurationTime, is_duration
from meterlog.exchange.table.looks import Look, look
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.stamps import Stamps, stamps_of
from meterlog.exchange.table.time_pattern import PatternTime, patterns_of
from meterlog.exchange.table.time_text import (
    DAY_S,
    ClockTime,
    DatedTime,
    IsoTime,
    NumberTime,
    TimeReader,
    UnitTime,
    clock_s,
    has_time_unit,
    has_zone,
    possible_orders,
    split_date,
)
from meterlog.exchange.table.time_unit import NumberKind, header_words, number_kind

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}([T ]\d{2}:\d{2}(:\d{2}([.,]\d+)?)?\s*(Z|[+-]\d{2}(:?\d{2})?)?(\[[\w/+-]+\])?)?")
_SHOWS_PART = re.compile(r"[.,eE]")
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?", re.ASCII)

_ELAPSED = frozenset(("elapsed", "duration", "laufzeit", "runtime", "dauer"))
_SHOWN_CELLS = 20
_LEAST_FALLING = 4
"""So many times that only go down are a table with its newest row first. A guess."""

ORDERS = ("dmy", "mdy", "ymd")


class TimeSurvey:
    """Collects, over a whole column, what its times can be."""

    _FEW = 2000

    def __init__(self) -> None:
        self._cells: list[str] = []  # the first ones that are times of some kind
        self._days: dict[str, None] = {}  # every date that occurs
        self.last: list[str] = []
        self._samples: list[str] = []

    def see(self, cells: Sequence[str]) -> None:
        """Look at cells; those that are no times say nothing."""
        if len(self._cells) < self._FEW:
            texts = [cell.strip() for cell in cells[: self._FEW]]
            self._cells += [
                text for text in texts if _NUMBER.fullmatch(text) or look(text) is Look.TIME or has_time_unit(text)
            ]
        if self._cells and split_date(self._cells[0])[0] and not _ISO.fullmatch(self._cells[0]):
            self._days |= dict.fromkeys(day for cell in cells if (day := split_date(cell.strip())[0]))
        self.last = [cell.strip() for cell in cells[-1:]]
        if len(self._samples) < _SHOWN_CELLS:
            self._samples += [text for cell in cells[:_SHOWN_CELLS] if (text := cell.strip())]

    @property
    def first(self) -> list[str]:
        """The first cell that may be a time."""
        return self._cells[:1]

    def read(self, time: TimeReader, cells: Iterable[str]) -> list[float]:
        """Those of some cells that are times."""
        times = []
        for cell in cells:
            try:
                times.append(time.one(cell))
            except (ValueError, OverflowError):
                continue
        return times

    def falls(self, time: TimeReader) -> bool:
        """Tell whether the first times go down all the way."""
        times = self.read(time, self._cells)
        return len(times) >= _LEAST_FALLING and all(b <= a for a, b in pairwise(times)) and times[-1] < times[0]

    def stamps(self, time: TimeReader, channels: int) -> Stamps:
        """Return how fine the times are, and whether rows share them; with `channels`, each has a row of its own."""
        times = self.read(time, self._cells)
        shown_s = time.resolution(self._cells)
        return Stamps(shown_s) if channels else stamps_of(times, shown_s)

    def reader(self, options: ImportOptions, title: str, decimal: str) -> TimeReader:
        """The reader for this column.

        Args:
            options: of the command: unit, order and clock as given.
            title: the header cell, which may state the unit.
            decimal: the decimal mark of numbers.

        Raises:
            TableError: no cell is a time.
            Question: they could be two kinds.
        """
        if not options.time:
            return NumberTime(decimal)
        if options.time_format is not None:
            return PatternTime(options.time_format)
        if not self._cells:
            raise self._not_understood(title)
        reader = self._found(options, title, decimal)
        if len(self.read(reader, self._cells)) * 2 < len(self._cells):
            raise self._not_understood(title)
        return reader

    def _not_understood(self, title: str) -> TableError:
        """Return what is said of cells that are no times, with the pattern that they seem to have."""
        sample = self._samples[:_SHOWN_CELLS]
        shown = f"'{sample[0]}'" if sample else "nothing"
        patterns = tuple(patterns_of(sample))
        if patterns:
            choices = " or ".join(f"--time-format '{pattern}'" for pattern in patterns)
            return Question(
                f"the times of '{title}' ({shown}) have a form of their own: say which with {choices}",
                "time_format",
                patterns,
            )
        return TableError(
            f"no cell of the time column is a time: '{title}' has {shown}; give another column with --time, or the"
            " pattern of its times with --time-format"
        )

    def _found(self, options: ImportOptions, title: str, decimal: str) -> TimeReader:
        """The reader for the kind that most cells have."""
        order = options.date_order
        numbers = [cell for cell in self._cells if _NUMBER.fullmatch(cell)]
        if len(numbers) * 2 > len(self._cells):
            return _number_reader(numbers, title, options, decimal)
        if sum(map(has_time_unit, self._cells)) * 2 > len(self._cells):
            return UnitTime(decimal)
        iso = [cell for cell in self._cells if _ISO.fullmatch(cell)]
        if len(iso) * 2 > len(self._cells) and order in (None, "ymd"):
            return IsoTime(_zoned(iso))
        dated = [cell for cell in self._cells if split_date(cell)[0]]
        if len(dated) * 2 > len(self._cells):
            return DatedTime(order or self._order(title), _zoned(dated))
        if any(map(is_duration, self._cells)) or not _ELAPSED.isdisjoint(header_words(title)):
            return DurationTime()
        return self._clock_reader(options.clock)

    def _order(self, title: str) -> str:
        """The one order in which every date of the column can be read."""
        days = [day for day in self._days if possible_orders(day)]
        if not days:
            raise self._not_understood(title)
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


def _number_reader(numbers: Sequence[str], title: str, options: ImportOptions, decimal: str) -> TimeReader:
    if options.interval is not None:
        return NumberTime(decimal, NumberKind(f"rows counted, {options.interval:g} s apart", options.interval))
    values = NumberTime(decimal).many(numbers).tolist()
    whole = not any(map(_SHOWS_PART.search, numbers))
    if options.time_unit is None and whole and (patterns := tuple(patterns_of(numbers[:_SHOWN_CELLS]))):
        raise Question(
            f"the numbers of '{title}' ({numbers[0]}, ...) look like dates and times written together: say so with"
            f" --time-format '{patterns[0]}', else their unit with --time-unit",
            "time_format",
            patterns,
        )
    return NumberTime(decimal, number_kind(values, whole, title, options.time_unit))


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
