"""Make a session from a table: CSV and its relatives. With FILE alone, show what it would become.

Columns are named by their header or numbered from 1. Where the file is ambiguous (decimal mark, date order,
unit) an error shows both readings and names the option that decides. Skipped rows are counted on stderr with their
line numbers. A table that 'meterlog export' wrote needs none of the column options.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path

from meterlog.cli.options.details_and_roles import add_details, add_roles, details, entered_roles
from meterlog.cli.options.table_options import add_table_options, table_options
from meterlog.errors import UsageError
from meterlog.exchange.table.import_plan import ImportPlan
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.several_files import make_plans
from meterlog.exchange.table.source import is_text
from meterlog.roles import check_role, entered_role
from meterlog.text import figures
from meterlog.text.safe import one_line

EXAMPLE = "meterlog import log.csv --time time_s --value voltage --quantity dc_voltage --unit V --out crank.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("tables", metavar="FILE", type=Path, nargs="+", help="the table; several with --join")
    parser.add_argument("--out", metavar="SESSION", type=Path, help="the session file to make")
    parser.add_argument(
        "--dry-run", action="store_true", help="show how the table is understood and its first rows; write nothing"
    )
    parser.add_argument("--yes", action="store_true", help="import as the preview says, where nothing is in doubt")
    add_table_options(parser)
    add_details(parser)
    add_roles(parser)


def run(args: argparse.Namespace) -> int:
    """Import the table."""
    from meterlog.exchange.session_table_import import is_session_table

    args.table = args.tables[0]
    entered = {**details(args.set), **entered_roles(args.role)}
    named = args.value or args.time
    if not named and len(args.tables) > 1:
        raise UsageError("with several files, say which columns hold the times and the values: --time COL --value COL")
    if not named and (_is_parquet(args.table) or (is_text(args.table) and is_session_table(args.table))):
        _need_out(args)
        _import_again(args, entered)
        return 0
    if not named and args.yes:
        args.out = args.out or args.table.with_suffix(".sqlite")
        _import_as_planned([_certain(args)], args.out, entered)
        return 0
    if not named and args.out is None:
        _preview(args)
        return 0
    _need_out(args)
    if not named:
        raise UsageError(
            "say which columns hold the times and the values: --time COL --value COL;"
            " 'meterlog import FILE' alone shows what each column seems to be"
        )
    if not args.value or not (args.time or args.interval):
        raise UsageError(f"--{'value' if args.time else 'time'} COL is missing")
    plans = make_plans(args.tables, table_options(args))
    for number, column in enumerate((column for plan in plans for column in plan.values), 1):
        if problem := check_role(entered_role(entered, number), column.quantity):
            raise UsageError(f"--role {number}: {problem}")
    for plan in plans:
        for line in plan.described():
            print(one_line(line), file=sys.stdout if args.dry_run else sys.stderr)
        _say(plan.source.doubts)
        if args.dry_run:
            _show_first(plan)
    if not args.dry_run:
        _import_as_planned(plans, args.out, entered)
    return 0


def _need_out(args: argparse.Namespace) -> None:
    if args.out is None and not args.dry_run:
        raise UsageError("give the session file to make with --out SESSION")


def _preview(args: argparse.Namespace) -> None:
    from meterlog.cli.terminal.import_preview import preview_lines
    from meterlog.exchange.table.preview import preview

    seen = preview(args.table, table_options(args))
    for line in preview_lines(args.table, seen, args.table.with_suffix(".sqlite")):
        print(line)


def _certain(args: argparse.Namespace) -> ImportPlan:
    """The plan of a table where nothing is in doubt.

    Raises:
        UsageError: something is.
    """
    from meterlog.exchange.table.preview import preview

    seen = preview(args.table, table_options(args))
    if seen.doubts or seen.plan is None:
        raise UsageError(f"--yes takes only what is in no doubt, but {'; '.join(seen.doubts)}")
    return seen.plan


def _import_again(args: argparse.Namespace, entered: Mapping[str, str]) -> None:
    """Make the session again that a table was exported from."""
    if args.dry_run:
        print("a table that 'meterlog export' wrote: it becomes the session it came from")
        return
    remarks = Remarks()
    if _is_parquet(args.table):
        from meterlog.exchange.parquet import import_parquet

        counts = import_parquet(args.table, args.out, entered)
    else:
        from meterlog.exchange.session_table_import import import_session_table

        counts = import_session_table(args.table, args.out, entered, remarks)
    _say(remarks.sentences())
    print(_counted(args.out, *counts))


def _import_as_planned(plans: Sequence[ImportPlan], out: Path, entered: Mapping[str, str]) -> None:
    from meterlog.exchange.table.import_table import import_tables

    remarks = [Remarks() for _ in plans]
    imported = import_tables(plans, out, remarks, entered)
    _say(imported.notes)
    for plan, said in zip(plans, remarks, strict=True):
        name = f"{plan.source.path.name}: " if len(plans) > 1 else ""
        _say(f"{name}{sentence}" for sentence in said.sentences())
    share = f" ({100 * imported.kept / imported.rows:.3g} %)" if imported.kept < imported.rows else ""
    _say([f"{imported.kept} of {imported.rows} rows kept{share}"])
    for made in imported.sessions:
        print(_counted(made.path, made.readings, made.markers))


def _is_parquet(path: Path) -> bool:
    """Tell whether it is Parquet that 'meterlog export' wrote."""
    if path.suffix.casefold() != ".parquet" or not path.exists():
        return False
    from meterlog.exchange.parquet import is_session_parquet

    return is_session_parquet(path)


def _show_first(plan: ImportPlan) -> None:
    from meterlog.exchange.table.row_reader import RowReader
    from meterlog.exchange.table.session_start import session_start

    remarks = Remarks()
    ordered = next(RowReader(plan, remarks).rows(), None)
    if ordered is None:
        print("no row has a time")
    else:
        rows = ordered.stretch.rows
        start = session_start(plan, float(rows.time_s[0]))
        print(f"session starts at: {start.started_at.isoformat()}")
        for i in range(min(len(rows), 8)):
            values = [column.cells[rows.block.columns[column.place][i]].value for column in plan.values]
            shown = ", ".join(f"{value:g} {c.quantity.unit}" for value, c in zip(values, plan.values, strict=True))
            print(f"line {rows.block.line[i]}: {rows.time_s[i] - start.zero_s:.6f} s  {shown}")
    for sentence in remarks.sentences():
        print(f"in the first rows: {one_line(sentence)}", file=sys.stderr)


def _say(sentences: Iterable[str]) -> None:
    for sentence in sentences:
        print(f"note: {one_line(sentence)}", file=sys.stderr)


def _counted(path: Path, channels: Mapping[str, int], markers: int) -> str:
    of = ", ".join(f"{count} of '{one_line(label)}'" for label, count in channels.items())
    marked = figures.count(markers, "marker")
    return f"{one_line(str(path))}: {sum(channels.values())} readings ({of}), {marked}"
