"""Say what is normal on a kind of vehicle or circuit, by many sessions: each measure with the interval of most.

Normal is not sound: what most vehicles show may be outside the limits, and 1 in 20 sound ones lies outside.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict, replace
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.options.which_sessions import add_where
from meterlog.cli.report import check_out
from meterlog.errors import UsageError
from meterlog.exchange.finished_file import REPLACE_HELP, refuse_existing
from meterlog.text.figures import shown
from meterlog.text.safe import one_line

if TYPE_CHECKING:
    import pandas as pd

    from meterlog.fleet.asking.normal import Normal

EXAMPLE = "meterlog normal fleet --where vehicle_kind='Panel van'"

_DIGITS = 4
"""Of what is normal: as many as most meters show."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("source", metavar="DATASET", type=Path, help="a dataset, or a folder of sessions")
    add_where(parser)
    parser.add_argument("--circuit", metavar="NAME", help="only sessions of jobs on this circuit")
    parser.add_argument("--out", metavar="FILE.html", type=Path, help="also make a report with a plot of each measure")
    parser.add_argument("--replace", action="store_true", help=REPLACE_HELP)
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Read, and print."""
    from meterlog.fleet.asking.either import dataset_or_folder
    from meterlog.fleet.asking.normal import normal_of
    from meterlog.fleet.asking.where import CIRCUIT, where_of

    if args.out is not None:
        check_out(args.out, [str(args.source)])
        refuse_existing(args.out, replace=args.replace)
    wanted = where_of(args.where, {CIRCUIT: args.circuit} if args.circuit else {})
    with dataset_or_folder(args.source) as dataset:
        measures = dataset.narrowed(wanted)["measures"]
    if measures.empty:
        raise UsageError(f"'{args.source}' holds no measure of such sessions")
    found = normal_of(measures)
    if args.out is not None:
        _write(args.out, measures, found, one_line(str(args.source.resolve().name)))
    if args.json:
        json.dump({"normal": [asdict(one) for one in found]}, sys.stdout, indent=2, allow_nan=False)
        sys.stdout.write("\n")
    else:
        sys.stdout.writelines(f"{line}\n" for line in _lines(found))
    return 0


def _write(out: Path, measures: pd.DataFrame, found: list[Normal], name: str) -> None:
    from meterlog.report import write_report
    from meterlog.report.normal import normal_page

    # A customer needs the name of a file, not its folder.
    named = [replace(one, odd=tuple(replace(odd, session=Path(odd.session).name) for odd in one.odd)) for one in found]
    rows = [(f"{one.label}: {one.measure}", "; ".join(line.strip() for line in _of_one(one))) for one in named]
    write_report(normal_page(measures, found, rows, name), out)


def _lines(found: list[Normal]) -> Iterator[str]:
    for label, some in groupby(found, lambda one: one.label):
        yield one_line(label)
        for one in some:
            yield from _of_one(one)


def _of_one(one: Normal) -> Iterator[str]:
    from meterlog.fleet.asking.normal import sentence

    middle = shown(one.middle, one.unit, digits=_DIGITS)
    if one.low is None or one.high is None:
        yield f"  {one.measure}: {middle} in the middle; {sentence(one)}"
        return
    low, high = (shown(end, one.unit, digits=_DIGITS) for end in (one.low, one.high))
    yield f"  {one.measure}: {low} to {high}, {middle} in the middle ({sentence(one)})"
    for odd in one.odd:
        of = f", {one_line(odd.vehicle)}" if odd.vehicle else ""
        yield f"    left out: {shown(odd.value, one.unit, digits=_DIGITS)}, {one_line(odd.session)}{of}"
