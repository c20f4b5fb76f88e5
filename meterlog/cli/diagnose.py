"""Find the part of a circuit that is at fault, how sure that is, and the measurement to take next.

The circuit is a template's name or a TOML file ('meterlog circuit new' writes one). Measurements come from that file,
from --measured, from recorded sessions and, in a terminal, from your answers. Without a circuit, --complaint asks for
quick looks that need no tool until one circuit is likely.
"""

from __future__ import annotations

import argparse
import json
import sys

from meterlog.cli.options.circuit_case import add_case_arguments, collect, looks, make_diagnoser
from meterlog.errors import UsageError
from meterlog.text.safe import one_line

EXAMPLE = "meterlog diagnose --circuit pump-feed --measured readings.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument(
        "sessions", nargs="*", metavar="SESSION", help="recorded sessions; their test points and markers are used"
    )
    add_case_arguments(parser, required=False)
    parser.add_argument(
        "--look",
        action="append",
        default=[],
        metavar="KEY=ANSWER",
        help="what was seen or heard, for example relay_clicks=no",
    )
    parser.add_argument("--meter", metavar="ADDRESS", help="take the suggested reading live from this meter")
    parser.add_argument("--save", metavar="FILE", help="save your answers in this file, for --measured")
    parser.add_argument("--json", action="store_true", help="one JSON object on standard output, no questions")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    if args.circuit is None:
        args.circuit = _circuit_of_complaint(args)
        if not args.circuit:
            return 0
    diagnoser = make_diagnoser(args)
    measured, tried, left_out = collect(args, diagnoser.circuit)
    more, looked = looks(args.look, diagnoser.circuit)
    measured, tried = measured + more, tried + looked
    for sentence in left_out:
        print(f"note: {one_line(sentence)}", file=sys.stderr)
    if args.json:
        found = {"circuit": diagnoser.circuit.name} | diagnoser.diagnose(measured, tried).as_json()
        print(json.dumps(found, allow_nan=False, ensure_ascii=False))
        return 0
    if not sys.stdin.isatty():
        from meterlog.cli.terminal.diagnose_text import as_text, print_general

        said: set[str] = set()
        print(as_text(diagnoser.circuit, diagnoser.diagnose(measured, tried), said))
        print_general(diagnoser.circuit, tried, said)
        return 0
    from meterlog.cli.terminal.diagnose_questions import Talk

    return Talk(args, diagnoser, measured, tried).run()


def _circuit_of_complaint(args: argparse.Namespace) -> str:
    """The circuit that the complaint and the looks lead to; empty where something is still to be looked at.

    Raises:
        UsageError: there is no complaint, or none that is known.
        CircuitError: what is likely is no circuit that can be measured here.
    """
    from meterlog.circuit.complaints.complaint import standing
    from meterlog.cli.terminal import complaint_questions as questions

    if not args.complaint:
        raise UsageError("--circuit is missing; or say --complaint 'cranks, does not start' to find it by looking")
    complaint = questions.known_complaint(args.complaint)
    observed = questions.observed_from_words(args.look, complaint)
    if sys.stdin.isatty() and not args.json:
        try:
            now = questions.ask_looks(complaint, observed)
        except EOFError:
            now = standing(complaint, observed)
            print()
    else:
        now = standing(complaint, observed)
    args.look = [f"{key}={answer}" for key, answer in observed.items()]
    if args.json and not now.chosen:
        print(json.dumps(questions.standing_json(complaint, now), allow_nan=False, ensure_ascii=False))
    elif not args.json:
        for line in questions.standing_lines(complaint, now):
            print(line)
    return questions.circuit_of(complaint, now) if now.chosen else ""
