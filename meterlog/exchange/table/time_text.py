"""Times as tables show them: seconds, epochs, ISO, dates in any order, clock times."""

from __future__ import annotations

import math
import re
from abc import ABC, abstractmethod
from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meterlog.exchange.table.even_cells import EvenCells
from meterlog.exchange.table.stamps import clock_resolution, number_resolution
from meterlog.exchange.table.time_unit import NumberKind
from meterlog.text.units import TIME_UNITS

Floats = NDArray[np.float64]

_EPOCH = datetime(1970, 1, 1)  # noqa: DTZ001 - naive on purpose: local times are counted from a local epoch
_MONTH_NAMES = (
    ("jan", "ene", "gen"), ("feb", "fév", "fev"), ("mar", "mär", "mrz", "mrt"), ("apr", "avr", "abr"),
    ("may", "mai", "mag", "mei", "maj"), ("jun", "juin", "giu"), ("jul", "juil", "lug"), ("aug", "aoû", "ago"),
    ("sep", "set"), ("oct", "okt", "ott", "out"), ("nov",), ("dec", "dez", "déc", "dic"),
)  # fmt: skip
"""Says how the names of the months begin in English, German, French, Spanish, Italian, Dutch, Portuguese."""
_MONTHS = {name: number for number, names in enumerate(_MONTH_NAMES, 1) for name in names}
_CLOCK = re.compile(r"(\d{1,3}):(\d{1,2})(?::(\d{1,2})(?:[.,](\d+)|:(\d{3}))?)?\s*([AaPp])?\.?(?:[Mm]\.?)?")
_MINUTES = re.compile(r"(\d{1,3}):(\d{1,2})(?:[.,](\d+))?")
_NUMERIC = re.compile(r"[-+0-9.,eE\s]*")
_ZONE = re.compile(r"(.*?)\s*(Z|[+-]\d{2}(?::?\d{2})?)")
_NAMED_ZONE = re.compile(r"\[[\w/+-]+\]$")
"""The zone's name that may stand behind an offset (RFC 9557)."""
_ENDS_WITH_ZONE = re.compile(r":\d{2}(?:[.,]\d+)?\s*(?:[AaPp]\.?[Mm]\.?\s*)?(?:Z|[+-]\d{2}(?::?\d{2})?)$")

DAY_S = 86_400.0
"""Length of a day without leap seconds, s."""
_CENTURY = 2000
"""Years of two digits are taken as this century's."""
_FIRST_SHORT_YEAR = 20
"""Years of two digits stand first (24-05-06) from here on: no older logger is read. A guess."""


class TimeReader(ABC):
    """Turns cells into seconds on some axis.

    Attributes:
        description: what it takes the cells for, for a person.
        absolute: whether the axis is counted from 1970, so that the first time is the session's start.
        zoned: whether the cells carry an offset from UTC; else an absolute axis is local time.
        daily: whether the axis starts anew at midnight.
        wraps_s: the counter behind it begins at 0 again after so long, s.
    """

    description: str
    absolute = True
    zoned = False
    daily = False
    wraps_s = math.inf

    @abstractmethod
    def one(self, cell: str) -> float:
        """One cell, s.

        Raises:
            ValueError: it is no such time.
        """

    def many(self, cells: Sequence[str]) -> ArrayLike:
        """Many cells, s each.

        Raises:
            ValueError: one of them is no such time.
        """
        return list(map(self.one, cells))

    def resolution(self, cells: Sequence[str]) -> float:
        """The step in which such cells can change, s."""
        return clock_resolution(cells)

    def spelled(self, time_s: float) -> str:
        """A time on the axis for a person: seconds, or the date and time since 1970."""
        if not self.absolute or self.daily:
            return f"{time_s:.10g} s"
        return (_EPOCH + timedelta(seconds=time_s)).isoformat(" ", "milliseconds")


_SECONDS = NumberKind("seconds", 1.0)
_COUNTER, _COUNTED = 2.0**32, ("ms", "us")
"""Small controllers count milliseconds or microseconds since they were switched on in 32 bits."""


class NumberTime(TimeReader):
    """Seconds or another unit, from the session's start, from midnight or from 1970; or a spreadsheet's days."""

    def __init__(self, decimal: str, kind: NumberKind = _SECONDS) -> None:
        since = " since 1970" if kind.since_1970 else " since midnight" if kind.daily else ""
        self.description = f"{kind.unit}{since}"
        self.absolute = kind.since_1970 or kind.daily or kind.serial
        self.zoned, self.daily = kind.since_1970, kind.daily
        self.wraps_s = _COUNTER * kind.scale if kind.unit in _COUNTED and not self.absolute else math.inf
        self._decimal = decimal
        self._zero = kind.zero
        self._scale = kind.scale
        # Dividing by 1000 is exact to the last bit where multiplying by 0.001 is not.
        self._divisor, self._factor = (round(1 / kind.scale), 1.0) if kind.scale < 1 else (1, kind.scale)

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        return float(self._placed(np.array(self._shown([cell])))[0])

    def many(self, cells: Sequence[str]) -> Floats:
        """See `TimeReader.many`."""
        if isinstance(cells, EvenCells) and self._decimal == "." and (numbers := cells.numbers):
            return self._placed(numbers.value)
        return self._placed(np.array(self._shown(cells), np.float64))

    def _placed(self, number: Floats) -> Floats:
        if self._divisor != 1:
            return number / self._divisor
        return number if self._factor == 1.0 else (number - self._zero) * self._factor

    def _shown(self, cells: Sequence[str]) -> list[float]:
        text = "\n".join(cells)
        if not _NUMERIC.fullmatch(text):  # float() would take 1_000, nan and inf
            raise ValueError("no number")
        if self._decimal == ",":
            cells = text.replace(".", "\0").replace(",", ".").split("\n")
        return list(map(float, cells))

    def resolution(self, cells: Sequence[str]) -> float:
        """See `TimeReader.resolution`."""
        return number_resolution(cells, self._scale)


_WITH_UNIT = re.compile(r"(.*\d)\s*([^\W\d]+)")


class UnitTime(TimeReader):
    """Numbers with their unit in each cell: `0.5 s`, `500 ms`."""

    absolute = False
    description = "numbers in the unit that each cell shows"

    def __init__(self, decimal: str) -> None:
        self._readers = {unit: NumberTime(decimal, NumberKind(unit, scale)) for unit, scale in TIME_UNITS.items()}

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        match = _WITH_UNIT.fullmatch(cell.strip())
        if match is None or match[2] not in self._readers:
            raise ValueError("no number with a unit of time")
        return self._readers[match[2]].one(match[1])

    def resolution(self, cells: Sequence[str]) -> float:
        """See `TimeReader.resolution`."""
        matches = [match for cell in cells if (match := _WITH_UNIT.fullmatch(cell))]
        return min(number_resolution([match[1]], TIME_UNITS[match[2]]) for match in matches if match[2] in TIME_UNITS)


def has_time_unit(cell: str) -> bool:
    """Tell whether a cell is a number with a unit of time."""
    match = _WITH_UNIT.fullmatch(cell)
    return match is not None and match[2] in TIME_UNITS


class IsoTime(TimeReader):
    """ISO 8601, with or without an offset."""

    def __init__(self, zoned: bool) -> None:
        self.zoned = zoned
        self.description = "ISO dates and times" + (" with their offset" if zoned else ", local")
        self._epoch = datetime.fromisoformat("1970-01-01T00:00:00Z") if zoned else _EPOCH

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        return self.many([without_zone_name(cell.strip())])[0]

    def many(self, cells: Sequence[str]) -> list[float]:
        """See `TimeReader.many`."""
        second = timedelta(seconds=1)
        try:
            return [(moment - self._epoch) / second for moment in map(datetime.fromisoformat, cells)]
        except TypeError:
            raise ValueError("some times have an offset and some have none") from None


class DatedTime(TimeReader):
    """A date in a given order, and a clock time."""

    def __init__(self, order: str, zoned: bool) -> None:
        self.description = f"dates as {_spelled(order)} and clock times"
        self.zoned = zoned
        self._order = order
        self._days: dict[str, float] = {}

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        day, clock = split_date(without_zone_name(cell.strip()))
        offset_s = 0.0
        if self.zoned:
            clock, offset_s = _split_zone(clock)
        elif _ZONE.fullmatch(clock):
            raise ValueError("an offset")
        start_s = self._days.get(day)
        if start_s is None:
            start_s = self._days[day] = _day_s(day, self._order)
        time_s = clock_s(clock) if clock else 0.0
        # 24:00:00 is the end of a day; some clocks are late to change the date and count the hour 24 on.
        if time_s >= DAY_S + 3600.0:
            raise ValueError("no clock time of a day")
        return start_s + time_s - offset_s


class ClockTime(TimeReader):
    """A time of day or an elapsed time; starts anew at midnight."""

    daily = True

    def __init__(self, minutes_first: bool) -> None:
        self._minutes_first = minutes_first
        self.description = "minutes:seconds" if minutes_first else "hours:minutes:seconds"
        self.absolute = not minutes_first

    def one(self, cell: str) -> float:
        """See `TimeReader.one`."""
        if not self._minutes_first:
            return clock_s(cell.strip())
        match = _MINUTES.fullmatch(cell.strip())
        if match is None or int(match[2]) > 60:
            raise ValueError("no minutes and seconds")
        return int(match[1]) * 60 + float(f"{match[2]}.{match[3] or 0}")


def clock_s(text: str) -> float:
    """A clock time as seconds of the day.

    Raises:
        ValueError: it is none.
    """
    match = _CLOCK.fullmatch(text)
    if match is None:
        raise ValueError("no clock time")
    hours, minutes, seconds, part, thousandths, half = match.groups()
    hour = int(hours)
    if half:
        if not 1 <= hour <= 12:
            raise ValueError("no clock time")
        hour = hour % 12 + (12 if half in "Pp" else 0)
    if int(minutes) > 59 or int(seconds or 0) > 60:
        raise ValueError("no clock time")
    return hour * 3600 + int(minutes) * 60 + float(f"{seconds or 0}.{part or thousandths or 0}")


_DATE = re.compile(
    r"(?P<a>\d{1,4}|[^\W\d_]{3,10})\.?(?P<mark>[-/. ])\s?(?P<b>\d{1,2}|[^\W\d_]{3,10})\.?(?P=mark)"
    r"\s?(?P<c>\d{4}|\d{1,2})"
)


def split_date(text: str) -> tuple[str, str]:
    """The date and the rest of a cell; the date is empty where it begins with none."""
    match = _DATE.match(text)
    if match is None:
        return "", text
    rest = text[match.end() :]
    return match[0], rest.removeprefix("T").lstrip(" ,;")


def possible_orders(day: str) -> set[str]:
    """The orders of day, month, year in which a date can be read: of `ymd`, `dmy`, `mdy`."""
    return {order for order in ("ymd", "dmy", "mdy") if not math.isnan(_day_or_nan(day, order))}


def _day_or_nan(day: str, order: str) -> float:
    try:
        return _day_s(day, order)
    except ValueError:
        return math.nan


def _day_s(day: str, order: str) -> float:
    match = _DATE.fullmatch(day)
    if match is None:
        raise ValueError("no date")
    if match["mark"] == "." and order == "mdy":
        raise ValueError("points are written between day, month and year in that order")
    parts = dict(zip(order, match.group("a", "b", "c"), strict=True))
    if not parts["d"].isdigit() or not parts["y"].isdigit():
        raise ValueError("no date")
    year = int(parts["y"])
    if len(parts["y"]) == 2 and (order != "ymd" or (match["mark"] in "-/" and year >= _FIRST_SHORT_YEAR)):
        year += _CENTURY
    if year < 1970:
        raise ValueError("no date")
    month = int(parts["m"]) if parts["m"].isdigit() else _month(parts["m"].casefold())
    return (date(year, month, int(parts["d"])) - date(1970, 1, 1)).total_seconds()


def _month(name: str) -> int:
    return _MONTHS.get(name[:4]) or _MONTHS.get(name[:3], 0)


def _split_zone(clock: str) -> tuple[str, float]:
    match = _ZONE.fullmatch(clock)
    if match is None:
        raise ValueError("no offset")
    if match[2] == "Z":
        return match[1], 0.0
    sign, digits = (-1 if match[2][0] == "-" else 1), match[2][1:].replace(":", "")
    return match[1], sign * (int(digits[:2]) * 3600.0 + int(digits[2:] or 0) * 60.0)


def _spelled(order: str) -> str:
    return "-".join({"d": "day", "m": "month", "y": "year"}[letter] for letter in order)


def has_zone(text: str) -> bool:
    """Tell whether a time cell ends with an offset from UTC."""
    return _ENDS_WITH_ZONE.search(without_zone_name(text)) is not None


def without_zone_name(text: str) -> str:
    """A time without the zone's name behind its offset: `10:00+02:00` of `10:00+02:00[Europe/Berlin]`."""
    return _NAMED_ZONE.sub("", text)
