"""List the jobs of a folder, newest first: vehicle, complaint, state, verdict, age."""

from __future__ import annotations

import argparse
from datetime import UTC, datetime
from pathlib import Path

from meterlog.cli.terminal.wrap import wrapped
from meterlog.text.figures import seconds
from meterlog.text.safe import one_line

EXAMPLE = "meterlog jobs"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "folder", nargs="?", default=".", metavar="FOLDER", type=Path, help="where the jobs' folders are"
    )


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    from meterlog.errors import UsageError
    from meterlog.job.listing import list_jobs

    if not args.folder.is_dir():
        raise UsageError(f"there is no folder '{args.folder}'")
    found = list_jobs(args.folder)
    if not found:
        begin = "begin one with 'meterlog job start FOLDER --complaint ...'"
        print(wrapped(f"no jobs in {one_line(str(args.folder))}: {begin}"))
    for one in found:
        age = seconds(max(0.0, (datetime.now(UTC) - one.changed).total_seconds()))
        what = " · ".join(word for word in (one.vehicle, one.complaint) if word)
        stands = ", ".join(word for word in (one.state or "cannot be read", one.due, f"{age} ago") if word)
        print(wrapped(one_line(f"{one.folder}: {stands}{f': {what}' if what else ''}")))
        print(wrapped(f"    {one_line(one.verdict)}"))
    return 0
