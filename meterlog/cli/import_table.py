"""Make a session from a table: CSV and its relatives.

Columns are named by their header or numbered from 1. Where the file is ambiguous (decimal mark, date order,
unit) an error shows both readings and names the option that decides. Skipped rows are counted on stderr with their
line numbers. A table that 'meterlog export' wrote needs none of the column options.
"""

from __future__ import annotations

import argparse
import dataclasses
import sys
from datetime import date, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

from meterlog.cli.options.details_and_roles import add_details, add_roles, details, entered_roles
from meterlog.errors import UsageError
from meterlog.exchange.table.import_plan import ImportOptions, ImportPlan, make_plan
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.time_kind import ORDERS
from meterlog.exchange.table.time_unit import UNIT_CHOICES
from meterlog.reading import Quantity
from meterlog.roles import check_role, entered_role
from meterlog.text.safe import one_line

EXAMPLE = "meterlog import log.csv --time time_s --value voltage --quantity dc_voltage --unit V --out crank.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("table", metavar="FILE", type=Path, help="the table")
    add(
        "--time",
        metavar="COL",
        action="append",
        default=[],
        help="column of times; twice for a date and a clock column",
    )
    add("--value", metavar="COL", action="append", default=[], help="column of values; repeat for several channels")
    add("--marker", metavar="COL", help="column of marker names, on the rows where they happened")
    add("--channel", metavar="COL", help="column that names each row's channel")
    add(
        "--quantity",
        metavar="Q",
        action="append",
        default=[],
        help=f"quantity of each value column: {', '.join(Quantity)}",
    )
    add("--unit", metavar="U", action="append", default=[], help="unit of numbers that show none: V, mV, kOhm, ...")
    add("--unit-from", choices=("header", "option"), help="which one to trust where the header and --unit differ")
    add("--label", action="append", default=[], help="each channel's label; its header by default")
    add("--point", action="append", default=[], help="each channel's test point")
    add("--out", metavar="SESSION", type=Path, help="the session file to make")
    add_details(parser)
    add_roles(parser)
    add("--encoding", help="utf-8, utf-16, latin-1, ...")
    add("--delimiter", help="one character, or comma, semicolon, tab, bar, space")
    add("--decimal", choices=(".", ","), help="the decimal mark; the other one then groups thousands")
    add(
        "--overload",
        metavar="WORD",
        action="append",
        default=[],
        help="another word for overload, besides OL and the like",
    )
    add("--time-unit", choices=UNIT_CHOICES, help="unit of times that are numbers; serial: a spreadsheet's days")
    add("--date-order", choices=ORDERS, help="order of day, month and year")
    add("--clock", choices=("hm", "ms"), help="read 12:30 as hours and minutes, or as minutes and seconds")
    add("--date", type=_date, help="the date of clock times: YYYY-MM-DD")
    add(
        "--utc-offset",
        metavar="+HH:MM",
        type=_offset,
        help="time zone of times that show none; this computer's by default",
    )
    add("--started-at", metavar="ISO", type=_moment, help="date and time of time 0, for times in seconds")
    add("--dry-run", action="store_true", help="show how the table is understood and its first rows; write nothing")


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"must be a date as YYYY-MM-DD, not '{text}'") from None


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


def run(args: argparse.Namespace) -> int:
    """Import the table."""
    from meterlog.exchange.session_table_import import import_session_table, is_session_table

    if args.out is None and not args.dry_run:
        raise UsageError("give the session file to make with --out SESSION")
    entered = {**details(args.set), **entered_roles(args.role)}
    remarks = Remarks()
    if not args.time and not args.value:
        if not _is_parquet(args.table) and not is_session_table(args.table):
            raise UsageError(
                "say which columns hold the times and the values: --time COL --value COL"
                " (only a table that 'meterlog export' wrote needs neither)"
            )
        if args.dry_run:
            print("a table that 'meterlog export' wrote: it becomes the session it came from")
            return 0
        if _is_parquet(args.table):
            from meterlog.exchange.parquet import import_parquet

            counts = import_parquet(args.table, args.out, entered)
        else:
            counts = import_session_table(args.table, args.out, entered, remarks)
        _report(args.out, counts, remarks, [])
        return 0
    if not args.time or not args.value:
        raise UsageError(f"--{'value' if args.time else 'time'} COL is missing")
    plan = make_plan(args.table, _options(args))
    for number, column in enumerate(plan.values, 1):
        if problem := check_role(entered_role(entered, number), column.quantity):
            raise UsageError(f"--role {number}: {problem}")
    for line in plan.described():
        print(one_line(line), file=sys.stdout if args.dry_run else sys.stderr)
    if args.dry_run:
        _show_first(plan, remarks)
        return 0
    from meterlog.exchange.table.import_table import import_table

    imported = import_table(plan, args.out, remarks, entered)
    _report(args.out, (imported.readings, imported.markers), remarks, imported.notes)
    return 0


def _options(args: argparse.Namespace) -> ImportOptions:
    given: dict[str, Any] = {field.name: getattr(args, field.name) for field in dataclasses.fields(ImportOptions)}
    given |= {name: tuple(value) for name, value in given.items() if isinstance(value, list)}
    return ImportOptions(**given)


def _is_parquet(path: Path) -> bool:
    return path.suffix.casefold() == ".parquet"


def _show_first(plan: ImportPlan, remarks: Remarks) -> None:
    from meterlog.exchange.table.import_table import RowReader

    reader = RowReader(plan, remarks)
    rows = next(reader.rows(), None)
    print(f"session starts at: {reader.started_at.isoformat()}" if rows else "no row has a time")
    for i in range(min(len(rows.time_s), 8) if rows else 0):
        assert rows is not None
        values = [column.cells[rows.block.columns[column.place][i]].value for column in plan.values]
        shown = ", ".join(f"{value:g} {c.quantity.unit}" for value, c in zip(values, plan.values, strict=True))
        print(f"line {rows.block.line[i]}: {rows.time_s[i]:.6f} s  {shown}")
    for sentence in remarks.sentences():
        print(f"in the first rows: {one_line(sentence)}", file=sys.stderr)


def _report(out: Path, counts: tuple[dict[str, int], int], remarks: Remarks, notes: list[str]) -> None:
    for sentence in (*notes, *remarks.sentences()):
        print(f"note: {one_line(sentence)}", file=sys.stderr)
    channels, markers = counts
    of = ", ".join(f"{count} of '{one_line(label)}'" for label, count in channels.items())
    marked = f"{markers} marker{'' if markers == 1 else 's'}"
    print(f"{one_line(str(out))}: {sum(channels.values())} readings ({of}), {marked}")
