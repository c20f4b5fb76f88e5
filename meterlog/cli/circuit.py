"""Check a circuit file and draw its chain, or write a new one by answering questions.

`check` draws the parts in the order the current flows, with the places a probe reaches, and names what is odd.
`new` asks for the parts one after the other and for what hangs beside them, and writes a file with comments, to go on
editing.
"""

from __future__ import annotations

import argparse

from meterlog.exchange.finished_file import REPLACE_HELP, finished_file, refuse_existing

EXAMPLE = "meterlog circuit check my-car.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    what = parser.add_subparsers(dest="what", required=True, metavar="'new FILE' or 'check FILE'")
    check = what.add_parser("check", help="draw a circuit and name what is odd", allow_abbrev=False)
    check.add_argument("file", metavar="FILE", help="a circuit file, or a template's name")
    new = what.add_parser("new", help="write a circuit file by answering questions", allow_abbrev=False)
    new.add_argument("file", metavar="FILE", help="the file to write")
    new.add_argument("--replace", action="store_true", help=REPLACE_HELP)


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    return _check(args.file) if args.what == "check" else _new(args.file, replace=args.replace)


def _check(file: str) -> int:
    from meterlog.circuit.model.chain_text import chain_lines, fitted
    from meterlog.circuit.model.circuit_file import load_circuit
    from meterlog.circuit.model.oddities import oddities
    from meterlog.cli.terminal.wrap import columns, wrapped
    from meterlog.text.safe import one_line

    circuit, width = load_circuit(file), columns()
    drawn = [one_line(line) for line in chain_lines(circuit)]
    for line in drawn if width is None else fitted(drawn, width):
        print(line)
    found = oddities(circuit)
    print("\nOdd, or worth knowing:" if found else "\nNothing odd.")
    for sentence in found:
        print(wrapped(f"- {one_line(sentence)}"))
    return 0


def _new(file: str, *, replace: bool) -> int:
    from pathlib import Path

    from meterlog.circuit.model.new_circuit import circuit_toml
    from meterlog.cli.terminal.asking import Asking
    from meterlog.cli.terminal.circuit_questions import NewCircuit, ask_circuit
    from meterlog.cli.terminal.wrap import wrapped
    from meterlog.errors import CircuitError

    path = Path(file)
    refuse_existing(path, replace=replace)
    new = NewCircuit()
    ended = False
    try:
        ask_circuit(
            new, Asking(lambda question: input(f"{wrapped(question.rstrip())} "), lambda text: print(wrapped(text)))
        )
    except (EOFError, KeyboardInterrupt):
        ended = True
        print()
    text, reason = circuit_toml(new.circuit())
    with finished_file(path, replace=replace) as passing:
        passing.write_text(text, encoding="utf-8")
    if reason:
        early = "the answers ended early; " if ended else ""
        raise CircuitError(f"{early}'{file}' holds what was entered and cannot be used yet: {reason}")
    print(f"\n{file} is written; go on editing it, and check it again with 'meterlog circuit check {file}'\n")
    return _check(file)
