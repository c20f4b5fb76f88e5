"""Finds the command, runs it, and shows every known error as one line."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from importlib import import_module
from typing import Protocol

from meterlog import __version__
from meterlog.errors import MeterlogError

COMMANDS = {
    "meters": ("meterlog.cli.meters", "ports and Bluetooth meters in reach, and which driver fits"),
    "record": ("meterlog.cli.record", "record one or more meters into a session"),
    "mark": ("meterlog.cli.mark", "put a marker into a running or finished session"),
    "sessions": ("meterlog.cli.sessions", "what is recorded, newest first"),
    "analyze": ("meterlog.cli.analyze", "what happened in a session, and how sure that is"),
    "compare": ("meterlog.cli.compare", "known-good captures against a suspect one"),
    "diagnose": ("meterlog.cli.diagnose", "which part of a circuit is at fault, and what to measure next"),
    "report": ("meterlog.cli.report", "one HTML file to show the customer"),
    "import": ("meterlog.cli.import_table", "make a session from a CSV file"),
    "export": ("meterlog.cli.export", "write a session as CSV or Parquet"),
    "emulate": ("meterlog_drivers.simulated.emulate", "a simulated meter on a real port"),
    "page": ("meterlog_dashboard.serve", "live capture and review in a browser"),
    "demo": ("meterlog_drivers.simulated.demo", "the whole job in a minute, no hardware"),
}
"""Each command's module and summary. A module has `add_arguments(parser)` and `run(args) -> int`; its docstring
is the command's description and `EXAMPLE` one line to try."""


class CommandModule(Protocol):
    """What a command's module offers."""

    EXAMPLE: str

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """Declare the options."""
        ...

    def run(self, args: argparse.Namespace) -> int:
        """Do it; the exit status."""
        ...


def _overview() -> str:
    width = max(map(len, COMMANDS))
    lines = [f"  {name:<{width}}  {summary}" for name, (_, summary) in COMMANDS.items()]
    return (
        "usage: meterlog COMMAND ...\n\n"
        "Records, times, detects, compares and explains what a multimeter shows.\n\n"
        "commands:\n" + "\n".join(lines) + "\n\n"
        "'meterlog COMMAND --help' explains one; 'meterlog demo' shows the whole job with no hardware.\n"
    )


def _parser(name: str, module: CommandModule) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog=f"meterlog {name}",
        description=module.__doc__,
        epilog=f"example:\n  {module.EXAMPLE}",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--debug", action="store_true", help="show the traceback of an error")
    module.add_arguments(parser)
    return parser


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command line.

    Returns:
        The exit status: 0 done, 2 a known error (one line on stderr), 130 interrupted.
    """
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0] in ("-h", "--help", "help"):
        sys.stdout.write(_overview())
        return 0 if words else 2
    if words[0] == "--version":
        print(f"meterlog {__version__}")
        return 0
    if words[0] not in COMMANDS:
        print(f"meterlog: there is no command '{words[0]}'; 'meterlog --help' lists them", file=sys.stderr)
        return 2
    module: CommandModule = import_module(COMMANDS[words[0]][0])
    args = _parser(words[0], module).parse_args(words[1:])
    try:
        return module.run(args)
    except MeterlogError as error:
        if args.debug:
            raise
        print(f"meterlog: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except KeyboardInterrupt:
        return 130
