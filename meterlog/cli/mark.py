"""Set a marker in a running or finished session.

In a session that is being recorded the marker is set now; in a finished one give its time with --at.
The analysis knows the names key-on, crank, wiggle and key-off; any other text is kept as typed.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from meterlog.session.markers import add_marker
from meterlog.text.safe import one_line
from meterlog.text.times import moment

EXAMPLE = 'meterlog mark crank.sqlite "wiggle at the pump plug" --at 12.5'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("session", metavar="SESSION", type=Path, help="the session file")
    parser.add_argument("text", metavar="TEXT", help="the marker's name")
    parser.add_argument(
        "--at", metavar="S", type=moment, help="time from the start, s, or 1:05.8 as 'analyze' shows it (default: now)"
    )
    parser.add_argument("--note", default="", help="a note to the marker")


def run(args: argparse.Namespace) -> int:
    """Set the marker."""
    marker = add_marker(args.session, args.text, args.note, args.at)
    print(f"marker '{one_line(marker.name)}' at {marker.time_s:.3f} s in {one_line(str(args.session))}")
    return 0
