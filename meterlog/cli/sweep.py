"""Find which fuse carries a parasitic draw, without pulling one: millivolts across each, in a guided sweep.

Key off, doors latched, keys away. Put the meter on DC mV and its tips on the two test points of a fuse that stays in:
pulling one wakes control units. Type the fuse's place and kind, 'F12 mini-10A', or its resistance, 'F12 7.4mohm';
the program reads the meter and says the current with its error. --clamp reads the current at the battery beside it, or
type it: 'clamp 0.34A'. 'undo' takes the last one back, 'done' sums up. It finds a branch; it is no measure of a draw.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlog.errors import UsageError
from meterlog.exchange.finished_file import REPLACE_HELP, refuse_existing

EXAMPLE = "meterlog sweep --meter auto:/dev/ttyUSB0 --clamp clamp --out fuses.csv"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("--meter", required=True, metavar="ADDRESS", help="the meter across the fuses, on DC mV")
    parser.add_argument("--clamp", metavar="ADDRESS", help="the meter of the current at the battery, with its scale=")
    parser.add_argument(
        "--off-for", type=float, default=0.0, metavar="MIN", help="how long the key has been off already, min"
    )
    parser.add_argument("--limits", metavar="FILE", help="other limits for the draw and the time to fall asleep")
    parser.add_argument("--out", type=Path, metavar="FILE", help="keep every reading in a CSV file")
    parser.add_argument("--replace", action="store_true", help=REPLACE_HELP)


def run(args: argparse.Namespace) -> int:
    """Sweep until the person is done."""
    from meterlog.cli.terminal.sweep_talk import SweepTalk
    from meterlog.cli.terminal.wrap import wrapped
    from meterlog.limits import load_limits

    if not 0 <= args.off_for <= 10_000:
        raise UsageError(f"--off-for wants minutes from 0 up, not {args.off_for:g}")
    if args.out:
        refuse_existing(args.out, replace=args.replace)
    talk = SweepTalk(args.meter, args.clamp, load_limits(args.limits), 60.0 * args.off_for, args.out)
    for line in talk.lines(_asked):
        print(wrapped(line), flush=True)
    return 0


def _asked(prompt: str) -> str | None:
    try:
        return input(prompt)
    except EOFError:
        return None
