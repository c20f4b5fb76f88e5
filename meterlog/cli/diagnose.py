"""Find the part of a circuit that is at fault, how sure that is, and the measurement to take next.

The circuit is a template's name or a TOML file (copy a template and enter your vehicle's parts). Measurements come
from that file, from --measured, from recorded sessions and, in a terminal, from your answers.
"""

from __future__ import annotations

import argparse
import json
import sys

from meterlog.cli.options.circuit_case import add_case_arguments, collect, make_diagnoser
from meterlog.text.safe import one_line

EXAMPLE = "meterlog diagnose --circuit pump-feed --measured readings.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "sessions", nargs="*", metavar="SESSION", help="recorded sessions; their test points and markers are used"
    )
    add_case_arguments(parser, required=True)
    parser.add_argument("--meter", metavar="ADDRESS", help="take the suggested reading live from this meter")
    parser.add_argument("--save", metavar="FILE", help="save your answers in this file, for --measured")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, no questions")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    diagnoser = make_diagnoser(args)
    measured, tried, left_out = collect(args, diagnoser.circuit)
    for sentence in left_out:
        print(f"note: {one_line(sentence)}", file=sys.stderr)
    if args.json:
        print(json.dumps(diagnoser.diagnose(measured, tried).as_json(), allow_nan=False, ensure_ascii=False))
        return 0
    if not sys.stdin.isatty():
        from meterlog.cli.terminal.diagnose_text import as_text, print_general

        said: set[str] = set()
        print(as_text(diagnoser.circuit, diagnoser.diagnose(measured, tried), said))
        print_general(diagnoser.circuit, tried, said)
        return 0
    from meterlog.cli.terminal.diagnose_questions import Talk

    return Talk(args, diagnoser, measured, tried).run()
