"""One repair from complaint to proof, in a folder: what was looked at, measured, repaired and proved.

'start' makes the folder; after that 'status' says what comes next, and 'look', 'measure' and 'repaired' enter what
was done. The last step can be taken back with 'undo'.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Callable, Sequence
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.cli.options.details_and_roles import details
from meterlog.cli.options.key_answers import key_answers
from meterlog.cli.terminal.wrap import wrapped
from meterlog.errors import UsageError
from meterlog.text.safe import one_line
from meterlog.text.times import day_to_come, span

if TYPE_CHECKING:
    from meterlog.circuit.readings.measurement import Measurement
    from meterlog.job.case import JobCase
    from meterlog.job.job import Job

_PRACTICE = "meterlog_drivers.simulated.practice"  # by name, as a command: the core imports no driver
_PLACE = ("quantity", "at", "to", "state", "load", "side", "unplugged")
"""The options that say where and how to measure."""
_SEEDS = 10_000
"""So many hidden faults are drawn from where nobody names one."""
EXAMPLE = 'meterlog job start blue-van --complaint "cranks, does not start"'


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    what = parser.add_subparsers(dest="what", required=True, metavar="DO")

    def add(name: str, summary: str, folder: Path | None = None, left_out: str = "") -> argparse.ArgumentParser:
        one = what.add_parser(name, help=summary, description=summary, allow_abbrev=False)
        one.add_argument(
            "folder",
            metavar="FOLDER",
            type=Path,
            nargs="?" if left_out else None,
            default=folder,
            help=f"the job's folder{left_out and f' ({left_out})'}",
        )
        one.add_argument("--json", action="store_true", help="one JSON object on standard output")
        return one

    start = add("start", "begin a job")
    start.add_argument("--complaint", required=True, metavar="WORDS", help="what the driver says")
    start.add_argument("--vehicle", default="", metavar="TEXT", help="which vehicle")
    start.add_argument("--circuit", metavar="FILE", help="a circuit file, or a template's name")
    start.add_argument("--meter", action="append", default=[], metavar="ADDRESS", help="a meter; may come again")
    start.add_argument("--tool", choices=("meter", "lamp"), default="meter", help="lamp: a test lamp is all there is")
    start.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", help="customer=, odometer=, ...")
    start.add_argument(
        "--no-experience", action="store_true", help="go by the guessed fault rates, not by your proved jobs beside it"
    )
    here = "may be left out where one job here is going on"
    add("status", "say where it stands, and what comes next", left_out=here)
    look = add("look", "enter what was looked at or heard")
    look.add_argument("answers", nargs="+", metavar="KEY=ANSWER", help="for example prime_heard=no; unknown passes it")
    for name, summary in (("measure", "measure what comes next"), ("prove", "measure again what decided")):
        measure = add(name, summary, left_out=here)
        measure.add_argument(
            "--value", metavar="V", help="the reading, typed: 12.4, 12300 mV, open; or what came of it: runs"
        )
        measure.add_argument("--skip", action="store_true", help="it cannot be reached, or is not on this vehicle")
        measure.add_argument(
            "--meter", action="append", default=[], metavar="ADDRESS", help="take it from this meter; may come again"
        )
        measure.add_argument("--wait", type=span, default=20.0, metavar="S", help="wait this long (default 20)")
        for option in _PLACE:
            its = "the branches' loads that are unplugged" if option == "unplugged" else f"its {option}"
            measure.add_argument(f"--{option}", metavar=option.upper()[0], help=f"measure elsewhere: {its}")
    tried = add("tried", "enter what was tried, and what came of it")
    tried.add_argument(
        "trial", metavar="WORDS", help="'bridged relay runs', 'fed pump_plus dead', 'replaced fuse blew'"
    )
    add("undo", "take the last step back", left_out=here)
    repaired = add("repaired", "enter a repair")
    repaired.add_argument("part", metavar="PART", help="the part's name in the circuit")
    repaired.add_argument("--price", type=float, metavar="X", help="of the part")
    repaired.add_argument("--minutes", type=float, metavar="M", help="of work")
    repaired.add_argument("--note", default="", metavar="TEXT")
    photo = add("photo", "copy a photo into the job, for the report")
    photo.add_argument("file", metavar="FILE", type=Path, help="JPEG, PNG or WebP; where it was taken is left out")
    photo.add_argument("--caption", default="", metavar="TEXT", help="what it shows")
    report = add("report", "write the report for the customer", left_out=here)
    report.add_argument(
        "--out", metavar="FILE.html", help="default report.html in the job's folder; an existing one is replaced"
    )
    report.add_argument("--pdf", action="store_true", help="also write a PDF beside it, with this computer's Chromium")
    practice = add(
        "practice", "find a hidden fault of the simulated van, against the clock", Path("practice"), "practice"
    )
    practice.add_argument("--seed", type=int, metavar="N", help="which fault; another one each time where left out")
    wait = add("wait", "say what it waits for: a part, the customer; whatever is done next goes on with it")
    wait.add_argument("reason", metavar="REASON", help="for example 'relay, ordered for Friday'")
    wait.add_argument("--until", type=day_to_come, metavar="DAY", help="when it is due: 2026-12-01, or in days, 3d")
    close = add("close", "close it without a proof")
    close.add_argument("--reason", required=True, metavar="TEXT")


def run(args: argparse.Namespace) -> int:
    """Do it; the exit status."""
    from meterlog.job.job_file import read_job
    from meterlog.job.listing import job_here

    if args.folder is None:
        args.folder = job_here(only_read=args.what in ("status", "report"))
    if args.what == "start":
        return _show(_start(args), args)
    if args.what == "practice":
        seed = random.SystemRandom().randrange(_SEEDS) if args.seed is None else args.seed
        status: int = import_module(_PRACTICE).practise(args.folder, seed)
        return status
    if args.what == "report":
        return _report(read_job(args.folder), args)
    if args.what in ("measure", "prove") and args.value is None and not (args.skip or args.json) and _in_terminal():
        return _talk(read_job(args.folder), args)
    doing: dict[str, Callable[[Job, argparse.Namespace], Job]] = {
        "status": lambda job, _: job,
        "look": _look,
        "measure": _measure,
        "prove": _measure,
        "tried": _tried,
        "undo": _undo,
        "repaired": _repaired,
        "photo": _photo,
        "wait": _wait,
        "close": _close,
    }
    return _show(doing[args.what](read_job(args.folder), args), args)


def _show(job: Job, args: argparse.Namespace) -> int:
    from meterlog.cli.terminal.job_text import status_lines
    from meterlog.job.status import status_of

    now = status_of(job)
    if args.json:
        print(json.dumps(now.as_json(), allow_nan=False, ensure_ascii=False))
    else:
        print(wrapped("\n".join(map(one_line, status_lines(now, str(args.folder))))))
    return 0


def _start(args: argparse.Namespace) -> Job:
    from meterlog.circuit.cost import check_priced, entered_money
    from meterlog.circuit.model.circuit_file import load_circuit
    from meterlog.job.entering import begin_with
    from meterlog.job.experience import experience
    from meterlog.job.job_file import create_job
    from meterlog.job.taking.meters import checked_meters

    entered = details(args.set)
    if args.circuit:  # refused before a folder is made
        check_priced(entered_money(entered).prices, load_circuit(args.circuit), "--set price_PART")
    meters = checked_meters(args.meter)
    job = create_job(
        args.folder,
        complaint=args.complaint,
        vehicle=args.vehicle,
        meters=meters,
        tool=args.tool,
        details=entered,
        rates=None if args.no_experience else experience(args.folder.absolute().parent),
    )
    return begin_with(job, args.circuit) if args.circuit else job


def _look(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.entering import enter_look

    for key, answer in key_answers(args.answers, "prime_heard=no"):
        job = enter_look(job, key, answer)
    return job


def _measure(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.circuit.next_measurement.attempts import Attempt
    from meterlog.job.entering import enter_value, skip, wanted

    named = {option: getattr(args, option) for option in _PLACE}
    case, m = wanted(job, named)
    if args.skip:
        return skip(job, m)
    if args.value is not None:
        return enter_value(job, case, m, args.value)
    if isinstance(m, Attempt):
        raise UsageError(f"say what came of it with --value {'|'.join(m.answers)}, or refuse it with --skip")
    addresses = args.meter or list(job.meters)
    if not addresses:
        raise UsageError("name a meter with --meter, type the reading with --value, or refuse it with --skip")
    return _from_meter(job, case, m, addresses, args)


def _in_terminal() -> bool:
    from meterlog.cli.terminal.keys import Keys

    return sys.stdout is not None and sys.stdout.isatty() and Keys.usable()


def _talk(job: Job, args: argparse.Namespace) -> int:
    from meterlog.cli.terminal.job_talk import JobTalk

    named = {option: getattr(args, option) for option in _PLACE}
    return JobTalk(job, args.meter or job.meters, args.wait, named).run()


def _from_meter(job: Job, case: JobCase, m: Measurement, addresses: Sequence[str], args: argparse.Namespace) -> Job:
    """Take it from the meter, record it into the job, enter it."""
    from meterlog.circuit.next_measurement.instructions import instruction
    from meterlog.cli.terminal.job_lines import Lines, caught_lines
    from meterlog.cli.terminal.output_streams import ring
    from meterlog.job.entering import enter_taken
    from meterlog.job.taking import take_into

    lines = Lines(sys.stderr if args.json else sys.stdout)
    lines.say(instruction(case.circuit, m).text)
    taken = take_into(job, addresses, case, m, lines, wait_s=args.wait)
    ring()
    for line in caught_lines(job.folder, taken):
        lines.say(line)
    return enter_taken(job, case, taken)


def _tried(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.entering import enter_trial

    return enter_trial(job, args.trial)


def _undo(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.job_file import read_job, undo

    taken = undo(job.folder)
    if not args.json:
        print(f"taken back: {taken.kind} {' '.join(str(value) for value in taken.values.values())}")
    return read_job(job.folder)


def _repaired(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.entering import enter_repair

    return enter_repair(job, args.part, price=args.price, minutes=args.minutes, note=args.note)


def _photo(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.photos import add_photo

    return add_photo(job, args.file, args.caption)


def _wait(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.job_file import add_step

    return add_step(job.folder, "waiting", {"reason": args.reason, "until": args.until and str(args.until)})


def _close(job: Job, args: argparse.Namespace) -> Job:
    from meterlog.job.job_file import add_step

    return add_step(job.folder, "closed", {"reason": args.reason})


def _report(job: Job, args: argparse.Namespace) -> int:
    from meterlog.cli.report import check_out
    from meterlog.job.job_file import NAME
    from meterlog.job.status import known_of
    from meterlog.report import print_pdf, write_report
    from meterlog.report.of_job import report_of_job

    out = Path(args.out) if args.out else job.folder / "report.html"
    check_out(out, [str(job.folder / NAME)])
    page, missing = report_of_job(known_of(job))
    for sentence in missing:
        print(f"note: {one_line(sentence)}", file=sys.stderr)
    write_report(page, out)
    if args.json:
        print(json.dumps({"report": str(out)}))
    else:
        print(wrapped(f"{one_line(str(out))}: {out.stat().st_size / 1e6:.1f} MB, needs no network"))
    if args.pdf:
        pdf = out.with_suffix(".pdf")
        print_pdf(out, pdf)
        if not args.json:
            print(f"{one_line(str(pdf))}: for printing")
    return 0
