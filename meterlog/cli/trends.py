"""Find what has changed on each vehicle over its sessions: since when, by how much, and how sure that is.

Each measure (levels, durations, drops, charge, the lowest while cranking) is followed over the days on which it was
taken, the temperature's part taken out where 'temperature_c' was entered. Of a hundred changes that are told, at most
one is chance. 'meterlog help trends' says how.
"""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path

from meterlog.cli.options.which_sessions import add_where
from meterlog.errors import UsageError

EXAMPLE = "meterlog trends fleet --where vehicle='van 07' --all"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    add = parser.add_argument
    add("source", metavar="DATASET", type=Path, help="a dataset, or a folder of sessions")
    add_where(parser)
    add("--measure", metavar="NAME", action="append", default=[], help="only this measure, as 'charge'; repeatable")
    add("--all", action="store_true", help="also what has not changed, and what cannot be told")
    add("--json", action="store_true", help="print JSON, of all measures")


def run(args: argparse.Namespace) -> int:
    """Find them, and print."""
    from meterlog.fleet.asking.either import dataset_or_folder
    from meterlog.fleet.asking.where import where_of
    from meterlog.trends import histories, judge
    from meterlog.trends.words import as_json, as_text

    with dataset_or_folder(args.source) as dataset:
        found = histories(dataset.narrowed(where_of(args.where))["measures"])
    if not found:
        raise UsageError(f"no such session in '{args.source}' says which vehicle it is of (--set vehicle=...)")
    _check_names(args.measure, {history.measure for history in found})
    trends = judge([history for history in found if not args.measure or history.measure in args.measure])
    if args.json:
        json.dump({"trends": [as_json(trend) for trend in trends]}, sys.stdout, indent=2, allow_nan=False)
        sys.stdout.write("\n")
    else:
        sys.stdout.write(as_text(trends, everything=args.all))
    return 0


def _check_names(wanted: list[str], known: set[str]) -> None:
    for name in wanted:
        if name not in known:
            raise UsageError(f"no session has the measure '{name}'; there are: {', '.join(sorted(known))}")
