"""Compare a suspect session with known-good ones, or what was recorded after a repair with what was recorded before.

Captures are aligned on the prime, the crank or a marker, else by their shape. Every figure is given with
its error, and every verdict is one of 'same within error', 'different' and 'cannot tell'. Each part of a circuit may
have its own session: repeat --good and SUSPECT, or --before and --after, for one verdict over all."""

from __future__ import annotations

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.options.which_sessions import add_where
from meterlog.cli.terminal.notes import print_notes
from meterlog.errors import UsageError

if TYPE_CHECKING:
    from meterlog.fleet.asking.where import Where
    from meterlog.loaded import Loaded
    from meterlog.sides import Sides

EXAMPLE = "meterlog compare --good recordings/key-on-good-1.sqlite recordings/key-on-suspect.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("suspect", metavar="SUSPECT", nargs="*", help="a suspect session")
    add = parser.add_argument
    words = "a known-good session, or a folder or a dataset of them; repeatable"
    add("--good", metavar="SESSION", action="append", default=[], help=words)
    add("--before", metavar="SESSION", action="append", default=[], help="a session before the repair; repeatable")
    parser.add_argument(
        "--after", metavar="SESSION", action="append", default=[], help="a session after it; repeatable"
    )
    add_where(parser, "of a folder or dataset ")
    parser.add_argument(
        "--pair",
        metavar="GOOD=SUSPECT",
        action="append",
        default=[],
        help="labels of two channels to compare with each other, the known-good (or before) first",
    )
    parser.add_argument("--limits", metavar="FILE", help="your own limits file, or car-12v, truck-24v, old-6v")
    parser.add_argument(
        "--one-system", action="store_true", help="treat all captures as of one system voltage, whatever they look like"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    from meterlog.comparing import compare_captures
    from meterlog.comparing.comparison_text import as_text

    sides, reference, others = _sides(args)
    pairs = _pairs(args.pair)
    good, suspects = ([_load(path, args.limits) for path in paths] for paths in (reference, others))
    found = compare_captures(good, *suspects, pairs=pairs, one_system=args.one_system, sides=sides)
    print_notes(note for session in (*good, *suspects) for note in session.notes)
    if args.json:
        json.dump(found.as_json(), sys.stdout, indent=2, allow_nan=False)
        sys.stdout.write("\n")
    else:
        sys.stdout.write(as_text(found))
    return 0


def _sides(args: argparse.Namespace) -> tuple[Sides, list[str], list[str]]:
    """Tell which of the two comparisons it is, and the paths of its two sides.

    Raises:
        UsageError: they are mixed, or one side is missing.
    """
    from meterlog.fleet.asking.where import where_of
    from meterlog.sides import BEFORE_AFTER, KNOWN_GOOD

    where = where_of(args.where)
    if where and not any(Path(good).is_dir() for good in args.good):
        raise UsageError("--where chooses among the sessions of a folder or dataset: give one with --good")
    if args.before or args.after:
        if args.good or args.suspect:
            raise UsageError("compare either --good SESSION with SUSPECT, or --before SESSION with --after SESSION")
        if not (args.before and args.after):
            raise UsageError(
                f"--{'before' if args.before else 'after'} needs --{'after' if args.before else 'before'} too"
            )
        return BEFORE_AFTER, args.before, args.after
    if not args.good or not args.suspect:
        raise UsageError("name --good SESSION and a SUSPECT, or --before SESSION and --after SESSION")
    return KNOWN_GOOD, [path for good in args.good for path in _sessions(good, where)], args.suspect


def _sessions(good: str, where: Where) -> list[str]:
    """The sessions of a folder or dataset that stand for it; a path that is no folder is one session."""
    if not Path(good).is_dir():
        if where:
            raise UsageError(f"--where chooses among the sessions of a folder or dataset, and '{good}' is none")
        return [good]
    from meterlog.fleet.asking.known_good import known_good

    found, left_out = known_good(Path(good), where)
    if not found:
        raise UsageError(f"there are no {'such ' if where else ''}sessions in the folder '{good}'")
    print_notes([left_out] if left_out else [])
    return found


def _load(path: str, limits_file: str | None) -> Loaded:
    """Read a session, which may have been archived since it was collected."""
    from meterlog.archive import packed_of, unpacked
    from meterlog.loaded import load

    packed = packed_of(Path(path))
    if packed is None:
        return load(path, limits_file)
    with unpacked(packed) as copy:
        loaded = load(copy, limits_file)
    loaded.path = Path(path)
    return loaded


def _pairs(words: list[str]) -> dict[str, str]:
    pairs = {}
    for word in words:
        good, equals, suspect = word.partition("=")
        if not (equals and good.strip() and suspect.strip()):
            raise UsageError(f"--pair needs GOOD=SUSPECT, two channel labels, not '{word}'")
        pairs[good.strip()] = suspect.strip()
    return pairs
