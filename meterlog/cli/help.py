"""Show a manual, or how a command is used.

Without a word it lists the manuals. A command's own options: 'meterlog COMMAND --help'.
"""

from __future__ import annotations

import argparse
import sys
from importlib.resources import files
from importlib.resources.abc import Traversable
from importlib.util import find_spec
from pathlib import Path

from meterlog.errors import UsageError, did_you_mean

EXAMPLE = "meterlog help circuit"

TOPICS = {
    "recording": ("meterlog", "capture", "record, armed captures, hunting what comes and goes"),
    "meters": ("meterlog_drivers", "", "find your meter's driver, address options, describe a new meter"),
    "profiles": ("meterlog_drivers", "profiles", "describe a meter that is in no table, in a file"),
    "clamps": ("meterlog", "driver", "clamps, dividers, fuses, nulled leads: what sits between meter and wire"),
    "always-on": ("meterlog", "stream", "a recorder that lives in the car, small boards, other programs"),
    "bluetooth": ("meterlog", "transports", "Bluetooth and serial lines"),
    "simulated-van": ("meterlog_drivers", "simulated", "try everything without a meter"),
    "events": ("meterlog", "events", "what is found in a capture, and how sure a duration is"),
    "findings": ("meterlog", "findings", "what is concluded from it"),
    "fuses": ("meterlog", "fuses", "which fuse drains the battery: a sweep of the fuse box"),
    "limits": ("meterlog", "limits", "the figures that findings are judged by, and your own"),
    "compare": ("meterlog", "comparing", "known-good against suspect, before and after"),
    "job": ("meterlog", "job", "one repair from complaint to proof"),
    "circuit": ("meterlog", "circuit", "which part it is, and what to measure next"),
    "templates": ("meterlog", "circuit/templates", "the circuits that come with it"),
    "page": ("meterlog_dashboard", "", "the page in a browser and on a phone"),
    "report": ("meterlog", "report", "the page for the customer"),
    "tables": ("meterlog", "exchange", "tables in and out"),
    "collect": ("meterlog", "fleet", "what many sessions show, as one dataset of tables"),
    "ask": ("meterlog", "fleet/asking", "questions to a dataset, and what is normal"),
    "trends": ("meterlog", "trends", "what has changed on a vehicle, and since when"),
    "sessions": ("meterlog", "session", "session files, corrections, notebooks"),
}
"""Each manual: its package, its folder in it, and what it is about."""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("topic", nargs="?", metavar="TOPIC", help="the manual to show")


def run(args: argparse.Namespace) -> int:
    """Show it."""
    if args.topic is None:
        width = max(map(len, TOPICS))
        print("\n".join(f"{topic:<{width}}  {about}" for topic, (_, _, about) in TOPICS.items()))
        return 0
    if args.topic not in TOPICS:
        raise UsageError(
            f"there is no manual '{args.topic}'{did_you_mean(args.topic, TOPICS)}; 'meterlog help' lists them,"
            " and 'meterlog COMMAND --help' shows a command's options"
        )
    _show(manual(args.topic))
    return 0


def manual(topic: str) -> str:
    """Return a manual's text, as Markdown."""
    package, folder, _ = TOPICS[topic]
    return _file(package, folder).read_text("utf-8")


def _file(package: str, folder: str) -> Traversable:
    inside = files(package).joinpath(folder, "README.md") if folder else files(package) / "README.md"
    # In a checkout the manual of a whole package lies one folder above it.
    return inside if inside.is_file() else Path(str(files(package))).parent / "README.md"


def _show(text: str) -> None:
    if not sys.stdout.isatty() or find_spec("markdown_it") is None:  # what lays it out is left out on a small board
        print(text, end="")
        return
    from rich.console import Console
    from rich.markdown import Markdown

    Console().print(Markdown(text))
