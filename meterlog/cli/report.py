"""Make one HTML file of one or more sessions to show to a customer: it opens on a phone, prints on A4 and needs no
network. With --good each session is compared with the known-good ones; with --before and --after what was recorded
after a repair is compared with what was recorded before; with --circuit the page names the part of that
circuit that is at fault and what to measure next; with --pdf a PDF is written beside it."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.options.circuit_case import add_case_arguments, collect, make_diagnoser
from meterlog.cli.terminal.notes import print_notes
from meterlog.errors import UsageError
from meterlog.exchange.finished_file import REPLACE_HELP, refuse_existing
from meterlog.text.safe import one_line

if TYPE_CHECKING:
    from meterlog.report.circuit import CircuitPart

EXAMPLE = "meterlog report recordings/key-on-suspect.sqlite --out report.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("sessions", metavar="SESSION", nargs="*", help="a session file")
    parser.add_argument("--out", metavar="FILE.html", required=True, help="the report to make")
    parser.add_argument(
        "--good", metavar="SESSION", action="append", default=[], help="a known-good session to compare with"
    )
    for option, words in (("before", "before the repair"), ("after", "after it")):
        parser.add_argument(
            f"--{option}",
            metavar="SESSION",
            action="append",
            default=[],
            help=f"a session recorded {words}; repeatable",
        )
    parser.add_argument("--limits", metavar="FILE", help="your own limits file, or car-12v, truck-24v, old-6v")
    add_case_arguments(parser, required=False)
    parser.add_argument("--title", metavar="TEXT", default="", help="the page's title")
    parser.add_argument("--replace", action="store_true", help=REPLACE_HELP)
    parser.add_argument("--pdf", action="store_true", help="also write a PDF beside it, with this computer's Chromium")


def run(args: argparse.Namespace) -> int:
    """Build, write, and say where it is."""
    out = Path(args.out)
    _check_sides(args)
    args.sessions += args.before
    check_out(out, [*args.sessions, *args.good, *args.after, *filter(None, [args.circuit, args.measured])])
    for made in (out, out.with_suffix(".pdf")) if args.pdf else (out,):
        refuse_existing(made, replace=args.replace)
    from meterlog.loaded import load
    from meterlog.report import build_report, print_pdf, write_report
    from meterlog.report.letterhead import letterhead
    from meterlog.settings import read_settings

    sessions = [load(path, args.limits) for path in args.sessions]
    good, after = ([load(path, args.limits) for path in paths] for paths in (args.good, args.after))
    print_notes(note for session in (*sessions, *good, *after) for note in session.notes)
    page = build_report(sessions, good, args.title, _circuit(args), after, head=letterhead(read_settings()))
    write_report(page, out)
    print(f"{one_line(str(out))}: {out.stat().st_size / 1e6:.1f} MB, needs no network")
    if args.pdf:
        pdf = out.with_suffix(".pdf")
        print_pdf(out, pdf)
        print(f"{pdf}: for printing")
    return 0


def _check_sides(args: argparse.Namespace) -> None:
    """Refuse sides that do not belong together."""
    if bool(args.before) != bool(args.after):
        raise UsageError("--before and --after belong together")
    if args.before and (args.sessions or args.good):
        raise UsageError("report either SESSION, with --good or without, or --before SESSION with --after SESSION")
    if not args.before and not args.sessions:
        raise UsageError("name a SESSION, or --before SESSION and --after SESSION")


def _circuit(args: argparse.Namespace) -> CircuitPart | None:
    """The circuit's part, from what the sessions and the files measured; the known-good are another state of it."""
    if args.circuit is None:
        if args.measured or args.rates or args.complaint:
            raise UsageError("--measured, --rates and --complaint need --circuit")
        return None
    from meterlog.report import circuit_part

    diagnoser = make_diagnoser(args)
    measured, tried, left_out = collect(args, diagnoser.circuit)
    for path in args.sessions:  # a customer needs the name of a file, not its folder
        left_out = [sentence.replace(f"{path}: ", f"{Path(path).name}: ") for sentence in left_out]
    return circuit_part(diagnoser, measured, tried, left_out)


def check_out(out: Path, inputs: list[str]) -> None:
    """Refuse a place that would overwrite something that is no report."""
    if out.suffix.lower() not in (".html", ".htm"):
        raise UsageError(f"--out must end in .html, not '{out}'")
    if any(Path(path).resolve() == out.resolve() for path in inputs):
        raise UsageError(f"--out would overwrite {out}, which is read here")
    if out.is_dir() or not out.parent.is_dir():
        raise UsageError(f"there is no folder {out.parent}" if not out.parent.is_dir() else f"{out} is a folder")
