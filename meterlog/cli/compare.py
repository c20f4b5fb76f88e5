"""Compare a suspect session with one or more known-good ones, or a session after a repair with one before it.

Captures are aligned on the prime, the crank or a marker, else by their shape. Every figure is given with
its error, and every verdict is one of 'same within error', 'different' and 'cannot tell'."""

from __future__ import annotations

import argparse
import json
import sys

from meterlog.cli.terminal.notes import print_notes
from meterlog.errors import UsageError

EXAMPLE = "meterlog compare --good recordings/key-on-good-1.sqlite recordings/key-on-suspect.sqlite"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("suspect", metavar="SUSPECT", help="the suspect session, or the one after the repair")
    parser.add_argument(
        "--good", metavar="SESSION", action="append", required=True, help="a known-good session; repeat for several"
    )
    parser.add_argument(
        "--pair",
        metavar="GOOD=SUSPECT",
        action="append",
        default=[],
        help="labels of two channels to compare with each other",
    )
    parser.add_argument("--limits", metavar="FILE", help="your own limits file, or car-12v, truck-24v, old-6v")
    parser.add_argument(
        "--one-system", action="store_true", help="treat all captures as of one system voltage, whatever they look like"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output")


def run(args: argparse.Namespace) -> int:
    """Compare and print."""
    from meterlog.compare import compare_captures
    from meterlog.compare.comparison_text import as_text
    from meterlog.loaded import load

    pairs = _pairs(args.pair)
    *good, suspect = [load(path, args.limits) for path in (*args.good, args.suspect)]
    found = compare_captures(good, suspect, pairs=pairs, one_system=args.one_system)
    print_notes(note for session in (*good, suspect) for note in session.notes)
    if args.json:
        json.dump(found.as_json(), sys.stdout, indent=2, allow_nan=False)
        sys.stdout.write("\n")
    else:
        sys.stdout.write(as_text(found))
    return 0


def _pairs(words: list[str]) -> dict[str, str]:
    pairs = {}
    for word in words:
        good, equals, suspect = word.partition("=")
        if not (equals and good.strip() and suspect.strip()):
            raise UsageError(f"--pair needs GOOD=SUSPECT, two channel labels, not '{word}'")
        pairs[good.strip()] = suspect.strip()
    return pairs
