"""Write a session as a table: CSV for a spreadsheet, or Parquet; of several sessions, or of folders of them, a folder.

'meterlog import' turns either back into the same session. Text that a spreadsheet would take for a formula gets a
leading apostrophe. Many sessions as one dataset to ask: 'meterlog collect'.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.terminal.notes import print_notes
from meterlog.cli.terminal.progress import progress
from meterlog.errors import SessionError, UsageError
from meterlog.exchange.export_many import tables_in_folder
from meterlog.exchange.finished_file import REPLACE_HELP, refuse_existing
from meterlog.session.reader import open_reader
from meterlog.text.figures import count
from meterlog.text.safe import one_line

if TYPE_CHECKING:
    from meterlog.session.reader import SessionReader

EXAMPLE = "meterlog export crank.sqlite --out crank.csv"
_CSV_SUFFIXES = (".csv", ".tsv", ".txt")
_LISTED = 5
"""So many sessions that failed are named; their number is always said. A guess."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "sessions", metavar="SESSION", type=Path, nargs="+", help="a session; or several, or folders with sessions"
    )
    parser.add_argument(
        "--out", metavar="FILE", type=Path, required=True,
        help="the table to make: .csv or .parquet; for several sessions the folder of the tables",
    )  # fmt: skip
    parser.add_argument("--format", choices=("csv", "parquet"), help="of tables in a folder; csv by default")
    parser.add_argument("--delimiter", help="of a CSV file: one character, or comma, semicolon, tab, bar")
    parser.add_argument("--decimal", choices=(".", ","), default=".", help="the decimal mark of a CSV file")
    parser.add_argument("--replace", action="store_true", help=REPLACE_HELP)


def run(args: argparse.Namespace) -> int:
    """Write the table or the tables."""
    suffix = args.out.suffix.casefold()
    is_table = suffix in (*_CSV_SUFFIXES, ".parquet")
    if len(args.sessions) == 1 and not args.sessions[0].is_dir() and not args.format:
        if not is_table:
            raise UsageError(f"'{args.out}' does not end in .csv or .parquet, so its format is unclear")
        print(_export(args.sessions[0], args.out, args))
        return 0
    if is_table or args.out.is_file():
        raise UsageError(f"several sessions become several tables: --out names a folder, not '{args.out}'")
    return _export_many(args)


def _export_many(args: argparse.Namespace) -> int:
    tables = tables_in_folder(args.sessions, args.out, f".{args.format or 'csv'}")
    for table in tables.values():
        refuse_existing(table, replace=args.replace)
    failed = []
    for session, table in tables.items():
        table.parent.mkdir(parents=True, exist_ok=True)
        try:
            print(_export(session, table, args))
        except SessionError as error:
            failed.append(str(error))
    if failed:
        more = f" and {len(failed) - _LISTED} more" if len(failed) > _LISTED else ""
        raise SessionError(
            f"{len(failed)} of {count(len(tables), 'session')} could not be exported, the others were:"
            f" {'; '.join(failed[:_LISTED])}{more}"
        )
    return 0


def _export(session: Path, out: Path, args: argparse.Namespace) -> str:
    """Write one table; what is said of it."""
    with open_reader(session) as reader:
        total = sum(reader.count(channel.number) for channel in reader.channels)
        with progress(f"exporting {session.name}", total) as told:
            readings = _write(reader, out, args, told)
        print_notes(reader.notes)
        return f"{one_line(str(out))}: {readings} readings, {count(len(reader.markers), 'marker')}"


def _write(reader: SessionReader, out: Path, args: argparse.Namespace, told: Callable[[int], None]) -> int:
    suffix = out.suffix.casefold()
    if suffix == ".parquet":
        from meterlog.exchange.parquet import export_parquet

        if args.delimiter or args.decimal != ".":
            raise UsageError("--delimiter and --decimal apply to CSV files only")
        return export_parquet(reader, out, replace=args.replace, told=told)
    from meterlog.exchange.csv_export import export_csv
    from meterlog.exchange.table.layout import as_delimiter

    usual = "\t" if suffix == ".tsv" else ";" if args.decimal == "," else ","
    delimiter = as_delimiter(args.delimiter) if args.delimiter else usual
    if delimiter not in (",", ";", "\t", "|"):
        raise UsageError("the delimiter must be comma, semicolon, tab or bar")
    return export_csv(reader, out, delimiter=delimiter, decimal=args.decimal, replace=args.replace, told=told)
