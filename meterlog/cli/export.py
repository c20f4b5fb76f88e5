"""Write a session as a table: CSV for a spreadsheet, or Parquet.

'meterlog import' turns either back into the same session. Text that a spreadsheet would take for a formula gets a
leading apostrophe.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlog.cli.terminal.notes import print_notes
from meterlog.errors import UsageError
from meterlog.session.reader import open_reader
from meterlog.text.safe import one_line

EXAMPLE = "meterlog export crank.sqlite --out crank.csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("session", metavar="SESSION", type=Path, help="the session file")
    parser.add_argument("--out", metavar="FILE", type=Path, required=True, help="the table to make: .csv or .parquet")
    parser.add_argument("--delimiter", help="of a CSV file: one character, or comma, semicolon, tab, bar")
    parser.add_argument("--decimal", choices=(".", ","), default=".", help="the decimal mark of a CSV file")
    parser.add_argument("--replace", action="store_true", help="overwrite an existing file")


def run(args: argparse.Namespace) -> int:
    """Write the table."""
    suffix = args.out.suffix.casefold()
    with open_reader(args.session) as reader:
        if suffix == ".parquet":
            from meterlog.exchange.parquet import export_parquet

            if args.delimiter or args.decimal != ".":
                raise UsageError("--delimiter and --decimal apply to CSV files only")
            readings = export_parquet(reader, args.out, replace=args.replace)
        elif suffix in (".csv", ".tsv", ".txt"):
            from meterlog.exchange.csv_export import export_csv
            from meterlog.exchange.table.layout import as_delimiter

            usual = "\t" if suffix == ".tsv" else ";" if args.decimal == "," else ","
            delimiter = as_delimiter(args.delimiter) if args.delimiter else usual
            if delimiter not in (",", ";", "\t", "|"):
                raise UsageError("the delimiter must be comma, semicolon, tab or bar")
            readings = export_csv(reader, args.out, delimiter=delimiter, decimal=args.decimal, replace=args.replace)
        else:
            raise UsageError(f"'{args.out}' does not end in .csv or .parquet, so its format is unclear")
        markers = len(reader.markers)
        print_notes(reader.notes)
    print(f"{one_line(str(args.out))}: {readings} readings, {markers} marker{'' if markers == 1 else 's'}")
    return 0
