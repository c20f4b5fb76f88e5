"""The options of `import` that say how a table is to be understood."""

from __future__ import annotations

import argparse
import dataclasses
import re
from datetime import date, datetime, timedelta, timezone, tzinfo
from typing import TYPE_CHECKING, Any

from meterlog.reading import Quantity

if TYPE_CHECKING:
    from meterlog.exchange.table.options import ImportOptions

_PER = {"s": 1.0, "min": 60.0, "h": 3600.0}


def add_table_options(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    from meterlog.exchange.table.options import JOINS, RESTARTS
    from meterlog.exchange.table.time_kind import ORDERS
    from meterlog.exchange.table.time_unit import UNIT_CHOICES

    def several(name: str, what: str, metavar: str | None = None) -> None:
        parser.add_argument(name, metavar=metavar, action="append", default=[], help=what)

    add = parser.add_argument
    several("--time", "column of times; twice for a date and a clock column", "COL")
    several("--value", "column of values; repeat for several channels", "COL")
    several("--state", "column of states: a marker where it changes", "COL")
    add("--marker", metavar="COL", help="column of marker names, on the rows where they happened")
    add("--channel", metavar="COL", help="column that names each row's channel")
    several("--quantity", f"quantity of each value column: {', '.join(Quantity)}", "Q")
    several("--unit", "unit of numbers that show none: V, mV, kOhm, ...", "U")
    add("--unit-from", choices=("header", "option"), help="which one to trust where the header and --unit differ")
    several("--label", "each channel's label; its header by default")
    several("--point", "each channel's test point")
    between = parser.add_mutually_exclusive_group()
    between.add_argument(
        "--interval", metavar="S", type=_seconds, help="time between rows, where no column or only a row count says it"
    )
    between.add_argument(
        "--rate", metavar="N/s", dest="interval", type=_rate, help="the same as rows a second: 10/s, 30/min"
    )
    add("--time-unit", choices=UNIT_CHOICES, help="unit of times that are numbers; serial: a spreadsheet's days")
    add("--time-format", metavar="PATTERN", help="pattern of times, for example %%d/%%m/%%Y-%%H:%%M:%%S")
    add("--date-order", choices=ORDERS, help="order of day, month and year")
    add("--clock", choices=("hm", "ms"), help="read 12:30 as hours and minutes, or as minutes and seconds")
    add("--date", type=_date, help="the date of clock times: YYYY-MM-DD")
    add(
        "--zone", "--utc-offset", metavar="ZONE", type=_zone,
        help="zone (Europe/Berlin) or offset (+01:00) of times that show none; this computer's by default",
    )  # fmt: skip
    add("--started-at", metavar="ISO", type=_moment, help="date and time of time 0, for times in seconds")
    add(
        "--restarts", choices=RESTARTS, default=RESTARTS[0],
        help="where the clock begins again: stop and say where, a session for each part, or one session with gaps",
    )  # fmt: skip
    add("--lines", metavar="A-B", help="read only these lines of the file, from 1 on: where it holds two tables")
    add("--leave-out", action="store_true", help="leave out what cannot be read, however many rows that are")
    add(
        "--join",
        choices=JOINS,
        help="several files: recorded at the same time, or one after another; pairs: each --value has its own --time",
    )
    several("--overload", "another word or number for overload, besides OL and the like", "WORD")
    several("--blank", "another word or number for no reading", "WORD")
    several("--number", "a number that looks like a stand-in but is measured", "WORD")
    add("--encoding", help="utf-8, utf-16, latin-1, ...")
    add("--delimiter", help="one character, or comma, semicolon, tab, bar, space")
    add("--decimal", choices=(".", ","), help="the decimal mark; the other one then groups thousands")
    add("--sheet", metavar="NAME", help="the sheet of a workbook")


def table_options(args: argparse.Namespace) -> ImportOptions:
    """The options as given."""
    from meterlog.exchange.table.options import ImportOptions

    given: dict[str, Any] = {field.name: getattr(args, field.name) for field in dataclasses.fields(ImportOptions)}
    given |= {name: tuple(value) for name, value in given.items() if isinstance(value, list)}
    return ImportOptions(**given)


def _seconds(text: str) -> float:
    try:
        seconds = float(text.replace(",", "."))
    except ValueError:
        seconds = 0.0
    if not 0 < seconds < float("inf"):
        raise argparse.ArgumentTypeError(f"must be a number of seconds above 0, not '{text}'")
    return seconds


def _rate(text: str) -> float:
    match = re.fullmatch(r"(?P<count>[\d.]+)\s*(?:/\s*(?P<per>s|min|h)|(?P<kilo>k?)Hz)?", text.strip())
    try:
        assert match is not None
        count = float(match["count"]) * (1000.0 if match["kilo"] else 1.0)
        return _PER[match["per"] or "s"] / count
    except (AssertionError, ValueError, ZeroDivisionError):
        raise argparse.ArgumentTypeError(f"must be rows a time as 10/s or 30/min, not '{text}'") from None


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be a date as YYYY-MM-DD, not '{text}'") from None


def _zone(text: str) -> tzinfo:
    if not text[:1].isalpha():
        return _offset(text)
    from zoneinfo import ZoneInfo

    try:
        return ZoneInfo(text)
    except (KeyError, ValueError, OSError):
        raise argparse.ArgumentTypeError(
            f"must be a zone this computer knows, as Europe/Berlin, or an offset from UTC as +HH:MM, not '{text}'"
        ) from None


def _offset(text: str) -> timezone:
    sign = -1 if text.startswith("-") else 1
    hours, _, minutes = text.lstrip("+-").partition(":")
    try:
        return timezone(sign * timedelta(hours=int(hours), minutes=int(minutes or 0)))
    except (ValueError, OverflowError):
        raise argparse.ArgumentTypeError(f"must be an offset from UTC as +HH:MM, not '{text}'") from None


def _moment(text: str) -> datetime:
    try:
        moment = datetime.fromisoformat(text)
        return moment if moment.utcoffset() is not None else moment.astimezone()
    except (ValueError, OverflowError):  # astimezone overflows at the calendar's ends
        raise argparse.ArgumentTypeError(f"must be a date and time as YYYY-MM-DDTHH:MM:SS, not '{text}'") from None
