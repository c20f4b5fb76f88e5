"""A whole job in a minute and a half, with no hardware: from a complaint to the proof of a repair, and a report.

A van cranks and does not start; what is wrong with it stays hidden. A person who only does what the job says next
looks, clips a meter on a real port on to the simulated van, puts one part right and proves it. What was found is
compared with what was truly wrong; the job stays in its folder.
"""

from __future__ import annotations

import argparse
import contextlib
import shlex
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from meterlog.cautions import DEFERS
from meterlog.cli.terminal.wrap import wrapped
from meterlog.errors import MeterlogError
from meterlog.text.figures import percent
from meterlog.text.safe import one_line
from meterlog_drivers.simulated.emulation.moved_probes import line_for
from meterlog_drivers.simulated.job_commands import JobCommands, Status, free_folder, typed
from meterlog_drivers.simulated.measured import MeasuredVan
from meterlog_drivers.simulated.person import Person
from meterlog_drivers.simulated.van.faults import faults_named

EXAMPLE = "meterlog demo"

FAULT, SEED = "relay:1.6", 5
"""Says what is wrong: a burnt contact, where every reading says something; the seed makes every demonstration the
same."""
COMPLAINT, VEHICLE = "cranks, does not start", "simulated delivery van"
SPEED, WAIT_S = "1.5", 8.0
"""Says how fast the van is played, and how long until a place that shows nothing is believed, s: a turn of the key."""
MOST_STEPS = 25
"""A job that takes more steps has failed; twice what it takes."""

METERLOG = (sys.executable, "-m", "meterlog")
Tell = Callable[[str], None]


class StepFailed(Exception):
    """A step of the demonstration did not give what it should."""


def _say(text: str) -> None:
    print(wrapped(text), flush=True)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare the options."""
    parser.add_argument("folder", nargs="?", type=Path, default=Path("demo-job"), help="the job's folder (demo-job)")


def run(args: argparse.Namespace) -> int:
    """Do the demonstration; 0 when every step gave what it should."""
    began_s = time.monotonic()
    folder = free_folder(args.folder)
    try:
        with _emulated() as (meter, tell):
            shown = Demonstration(folder, meter, tell)
            shown.run()
    except StepFailed as error:
        _say(f"FAILED: {one_line(str(error))}")
        return 1
    _say(f"\nDone after {time.monotonic() - began_s:.0f} s. Try next:")
    for command, what in (
        (f"meterlog job status {folder}", "the job, step by step"),
        (f"meterlog page {folder.parent}", "the same in the browser"),
        ("meterlog job practice", "find a hidden fault yourself, against the clock"),
        ("meterlog meters --listen 5", "then with a meter of your own"),
    ):
        _say(f"  {one_line(command):<34}  {what}")
    return 0


class Demonstration:
    """Goes through a job by doing what it says next.

    Args:
        folder: of the job; not there yet.
        meter: its address.
        tell: moves the probes.
    """

    def __init__(self, folder: Path, meter: str, tell: Tell) -> None:
        self._job_of, self._meter, self._tell = JobCommands(folder), meter, tell
        self._person = Person(MeasuredVan(faults_named(FAULT, SEED), SEED))
        self._minded: set[str] = set()

    def run(self) -> None:
        """Do all of it.

        Raises:
            StepFailed: a command failed, or what was found is not what was wrong.
        """
        (fault,) = self._person.van.faults
        _say(f"A van cranks and does not start; why is hidden. Its meter is {self._meter}.\n  mind: {DEFERS}\n")
        now = self._job("start", "--complaint", COMPLAINT, "--vehicle", VEHICLE, "--meter", self._meter)
        for _ in range(MOST_STEPS):
            if now["next"]["kind"] == "done":
                break
            now = self._step(now["next"])
        if now["state"] != "proved":
            raise StepFailed(f"the job ended {now['state']}: {now['next']['text']}")
        found = [repair["part"] for repair in now["repairs"]]
        if found != [fault.part]:
            raise StepFailed(f"{', '.join(found)} was put right, and this was wrong: {fault.words}")
        _say(f"\nproved: {now['proof']['text']}\nwhat was truly wrong: {fault.words}")
        report = self._job_of.folder / "report.html"
        self._job("report", "--out", str(report))
        _say(f"    for the customer: {one_line(str(report))}")

    def _step(self, asked: Mapping[str, Any]) -> Status:
        """Do what comes next, and say it in two lines."""
        for caution in asked["cautions"]:
            if caution not in self._minded:
                _say(f"    mind: {caution}")
                self._minded.add(caution)
        if asked["kind"] == "repair":
            _say(f"    {asked['text'].partition('. Then')[0]}.")
            self._tell(f"repaired {self._person.do(asked)}")
            return self._job("repaired", asked["part"])
        if asked["kind"] in ("measure", "prove"):
            return self._measure(asked)
        answer = self._person.do(asked)
        now = self._job(*typed(asked, answer))
        _say(f"    {asked['text']}")
        return now

    def _measure(self, asked: Mapping[str, Any]) -> Status:
        place = self._person.van.place(asked)
        self._tell(line_for(place))
        now = self._job("measure" if asked["kind"] == "measure" else "prove", more=("--wait", f"{WAIT_S:g}"))
        reading = now["readings"][-1]
        value = f"{reading['value']:.3g} {reading['unit']}" if reading["value"] is not None else "open"
        likeliest = [f"{h['part']} {percent(h['probability'])}" for h in now["diagnosis"]["hypotheses"][:2]]
        ends = f"; likeliest: {', '.join(likeliest)}" if asked["kind"] == "measure" else ""
        _say(f"    {value} {place.place}{ends}")
        return now

    def _job(self, what: str, *words: str, more: tuple[str, ...] = ()) -> Status:
        """Run one command of the job, as a person would type it; what it prints as JSON.

        Args:
            what: `start`, `look`, ...
            words: shown as typed.
            more: options that only shorten the demonstration.

        Raises:
            StepFailed: it failed.
        """
        _say(f"$ {one_line(shlex.join(['meterlog', 'job', what, str(self._job_of.folder), *words]))}")
        try:
            return self._job_of(what, *words, *more)
        except MeterlogError as error:
            raise StepFailed(f"'meterlog job {what}' failed: {error}") from None


@contextlib.contextmanager
def _emulated() -> Iterator[tuple[str, Tell]]:
    """A meter at the van in its own process: its address, and what moves its probes."""
    words = [*METERLOG, "emulate", "van", "--fault", FAULT, "--seed", str(SEED), "--speed", SPEED]
    if sys.platform != "linux":  # only there does a pseudo-terminal tell when it is opened
        words += ["--tcp", "0"]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdin is not None
            assert process.stdout is not None
            port = process.stdout.readline().strip()
            if not port:
                raise StepFailed("the simulated meter did not start")
            lines = process.stdin

            def tell(line: str) -> None:
                lines.write(line + "\n")
                lines.flush()

            yield f"status14:{port}", tell
        finally:
            process.terminate()
