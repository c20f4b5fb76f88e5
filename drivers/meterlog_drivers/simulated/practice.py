"""Practice: a hidden fault at the simulated van, found by a person against the clock.

The van is measured by lines of text, as with `meterlog emulate van`; each reading and look is entered into a job, so
that the job can be asked what it would do next. In the end the order is shown that the job would have asked for.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from meterlog.circuit.next_measurement.access import minutes_for
from meterlog.circuit.readings.measurement import UNITS, Measurement
from meterlog.errors import MeterlogError, UsageError
from meterlog.text.safe import one_line
from meterlog_drivers.simulated.emulation.moved_probes import HELP, placed
from meterlog_drivers.simulated.job_commands import JobCommands, Status, free_folder, typed
from meterlog_drivers.simulated.measured import MeasuredVan
from meterlog_drivers.simulated.person import REFUSED, Person
from meterlog_drivers.simulated.van.faults import HIDDEN, VanFault, faults_named

CIRCUIT, VEHICLE = "pump-feed", "simulated delivery van"
REPAIR_MIN = 5.0
"""Minutes to put a part right beyond getting at it. A guess."""
MOST_STEPS = 40
"""A job that asks for more steps has no end; twice what the hardest fault takes."""
KEYS = f"{HELP.partition('; look')[0]}; look KEY; hint; next; repair PART; end"


def complaint_of(fault: VanFault, seed: int) -> str:
    """Return what the driver says."""
    if fault.kind == "intermittent":
        return "dies now and then"
    if fault.part == "battery":
        return "cranks slowly, does not start"
    if fault.kind in ("stuck_closed", "fed_elsewhere"):
        return "the pump never stops"
    van = MeasuredVan((fault,), seed)
    return "lacks power, starts badly" if van.pump_runs() and van.pump_runs("crank") else "cranks, does not start"


def practise(folder: Path, seed: int, ask: Callable[[str], str] = input, say: Callable[[str], None] = print) -> int:
    """Hide a fault, and let the person find it; 0 where it was found.

    Args:
        folder: of the job; with a number behind it where there is one already.
        seed: draws the fault.
        ask: asks for a line; EOFError ends.
        say: shows a line.

    Raises:
        MeterlogError: there is a job already.
    """
    practice = Practice(folder, seed, say)
    while not practice.over:
        try:
            line = ask("> ")
        except EOFError:
            break
        try:
            practice.do(line.strip())
        except MeterlogError as error:
            say(f"  {one_line(str(error))}")
    practice.show_end()
    return 0 if practice.found else 1


class Practice:
    """A van with a hidden fault, and the job on it.

    Attributes:
        minutes: what the acts would take at a vehicle.
        acts: what was done.
        found: the right part was put right.
        over: nothing is left to do.
    """

    def __init__(self, folder: Path, seed: int, say: Callable[[str], None]) -> None:
        self.minutes, self.acts, self.found, self.over = 0.0, 0, False, False
        self._say, self._began_s = say, time.monotonic()
        (self._fault,) = faults_named(HIDDEN, seed)
        self._person = Person(MeasuredVan((self._fault,), seed))
        self._measured: list[Measurement] = []
        self._job = JobCommands(free_folder(folder))
        complaint = complaint_of(self._fault, seed)
        meter = f"sim:van?fault={HIDDEN}&seed={seed}"
        words = ("--complaint", complaint, "--vehicle", VEHICLE, "--circuit", CIRCUIT, "--meter", meter)
        self._now = self._job("start", *words)
        say(f"A van: {complaint}. Something in its pump circuit is wrong; find the part, and put it right.")
        say(f"  {KEYS}")

    def do(self, line: str) -> None:
        """Do what a line says, and show what came of it.

        Raises:
            MeterlogError: it says nothing that can be done.
        """
        word, _, rest = line.partition(" ")
        if word in ("", "hint"):
            self._hint()
        elif word == "next":
            self._do_next()
        elif word == "end":
            self.over = True
        elif word == "look":
            answer = self._person.van.look(rest)
            self._enter(1.0, "look", f"{rest}={answer}")
            self._say(f"  {rest}: {answer}")
        elif word in ("repair", "repaired"):
            self._repair(rest)
        else:
            self._measure(placed(line, self._person.van))

    def show_end(self) -> None:
        """Show what was wrong, how long it took, and the order that the job would have asked for."""
        clock_s = time.monotonic() - self._began_s
        self._say(f"{'Right' if self.found else 'Not found'}: {self._fault.words}.")
        spent = f"{self.acts} steps, some {self.minutes:.0f} min at a vehicle, {clock_s / 60:.0f} min by the clock"
        self._say(f"You took {spent}. The job would have asked for this:")
        minutes = 0.0
        with tempfile.TemporaryDirectory() as folder:
            steps = best_order(Path(folder) / "job", self._fault, self._person.van.seed)
        for text, took in steps:
            minutes += took
            self._say(f"  {took:3.0f} min  {text}")
        self._say(f"  {minutes:3.0f} min in {len(steps)} steps. The job: meterlog job status {self._job.folder}")

    def _hint(self) -> None:
        asked = self._now["next"]
        minutes = f" ({asked['minutes']:.0f} min)" if asked["minutes"] else ""
        self._say(f"  {one_line(asked['text'])}{minutes}")

    def _do_next(self) -> None:
        self._hint()
        asked = self._now["next"]
        if asked["kind"] == "repair":
            self._repair(asked["part"])
        elif asked["kind"] in ("measure", "prove"):
            self._measure(self._person.van.place(asked))
        elif asked["kind"] != "done":
            answer = self._person.do(asked)
            self._enter(asked["minutes"] or 1.0, *typed(asked, answer))
            self._say(f"  {answer or 'cannot be done'}")

    def _measure(self, place: Measurement) -> None:
        row = {key: getattr(place, key) for key in ("quantity", "at", "to", "state", "load", "side")}
        shown = self._person.do({"kind": "measure", **row})
        if shown == REFUSED:
            raise UsageError("the engine does not start, so nothing is measured while it runs")
        minutes = minutes_for(self._person.van.circuit, place, self._measured)
        options = [f"--{key}={value}" for key, value in row.items() if value]
        self._enter(minutes, "measure", *options, f"--value={shown}")
        self._measured.append(place)
        self._say(f"  {_said(place, shown)} ({minutes:.0f} min)")

    def _repair(self, part: str) -> None:
        self._enter(_repair_min(self._person.van, part), "repaired", part)
        self._person.van = self._person.van.repaired(part)
        self.found = self.over = part == self._fault.part
        if not self.found:
            self._say(f"  {part} was sound: nothing has changed")

    def _enter(self, minutes: float, what: str, *words: str) -> None:
        self._now = self._job(what, *words)
        self.minutes += minutes
        self.acts += 1


def best_order(folder: Path, fault: VanFault, seed: int) -> list[tuple[str, float]]:
    """Do only what the job says next until the fault's part is put right; each step with its minutes.

    Args:
        folder: for the job; not there yet.
        fault: what is wrong.
        seed: of the van.
    """
    person, job = Person(MeasuredVan((fault,), seed)), JobCommands(folder)
    now: Status = job("start", "--complaint", complaint_of(fault, seed), "--circuit", CIRCUIT)
    steps: list[tuple[str, float]] = []
    while len(steps) < MOST_STEPS and now["next"]["kind"] != "done":
        asked: dict[str, Any] = now["next"]
        answer = person.do(asked)
        minutes = _repair_min(person.van, answer) if asked["kind"] == "repair" else asked["minutes"] or 0.0
        steps.append((_short(person, asked, answer), minutes))
        if asked["kind"] == "repair" and answer == fault.part:
            break
        now = job(*typed(asked, answer))
    return steps


def _short(person: Person, asked: dict[str, Any], answer: str) -> str:
    if asked["kind"] == "repair":
        return f"put {answer} right"
    if asked["kind"] in ("measure", "prove"):
        return _said(person.van.place(asked), answer)
    return f"{one_line(asked['text'])} {answer}"


def _said(place: Measurement, shown: str) -> str:
    """A reading with its unit and place."""
    unit = UNITS[place.quantity] if shown not in (REFUSED, "open") else ""
    return f"{' '.join(filter(None, (shown, unit)))} {place.place}" if shown else f"cannot be done: {place.place}"


def _repair_min(van: MeasuredVan, part: str) -> float:
    circuit = van.circuit
    k = circuit.commands.get(part, circuit.part_index.get(part))
    return REPAIR_MIN + (circuit.parts[k].access_min if k is not None else 0.0)
