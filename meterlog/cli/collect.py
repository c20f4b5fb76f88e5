"""Gather what many sessions and jobs show into one dataset: Parquet tables of measures, events, findings and more.

Run it again at any time: only what is new or has changed is read. A session that cannot be read is a row in the table
'problems'. 'meterlog help collect' describes the tables.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.text.figures import count
from meterlog.text.safe import one_line

_LISTED = 10
"""So many problems are listed; the table holds them all: a choice."""

EXAMPLE = "meterlog collect recordings --out fleet"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    words = "sessions, in folders inside it too; a path, or an address of object storage"
    parser.add_argument("folders", metavar="FOLDER", nargs="+", help=words)
    parser.add_argument("--out", metavar="DATASET", type=Path, required=True, help="the dataset's folder")
    parser.add_argument("--workers", type=int, metavar="N", help="processes to read with; all cores by default")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="read with a Dask cluster, not with this machine")
    words = "put every reading in too; a dataset that has them keeps doing so"
    parser.add_argument("--readings", action="store_true", help=words)


def run(args: argparse.Namespace) -> int:
    """Collect, and say what was done."""
    if args.workers is not None and args.workers < 1:
        raise UsageError(f"--workers must be a whole number, 1 or more, not {args.workers}")
    if args.workers is not None and args.scheduler is not None:
        raise UsageError("--workers is for this machine, and --scheduler for a cluster: give one of them")
    from meterlog.fleet.collect import collect

    done = collect(args.folders, args.out, args.workers, readings=args.readings, scheduler=args.scheduler)
    told = [f"{count(done.read, 'session')} read", f"{done.unchanged} unchanged"]
    told += [f"{done.gone} gone"] if done.gone else []
    print(f"{one_line(str(args.out))}: {', '.join(told)}")
    for session, problem in done.problems[:_LISTED]:
        print(f"  {one_line(session)}: {one_line(problem)}")
    if len(done.problems) > _LISTED:
        print(f"  and {len(done.problems) - _LISTED} more: see the table 'problems'")
    return 0
