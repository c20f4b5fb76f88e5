"""Ten hidden faults of the van, from `job start` to `proved`: `python -m tests.bench.hidden_faults [way ...] [draw]`.

A script does only what `next` says, at a terminal of its own: with a meter that the job moves itself (`meter`), with a
test lamp alone (`lamp`), and with a meter on a pseudo-terminal whose probes the script moves (`port`). Each job takes
three commands: start, measure, report. Each way is a section of RESULTS.md. A draw above 0 is the same ten in other
vans: another battery, temperature and turns of the key; it writes no section.

The ten were chosen before any was tried: one of each class that a no-start has, none of them drawn to suit the program.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from meterlog.cli.terminal.step_keys import CHOICES, LAMP_HELP
from meterlog.errors import MeterlogError
from meterlog.job.job_file import read_job
from meterlog.job.next_step import Next
from meterlog.job.status import Status, status_of
from meterlog_drivers.simulated.emulation.moved_probes import line_for
from meterlog_drivers.simulated.measured import MeasuredVan
from meterlog_drivers.simulated.person import REFUSED, Person
from meterlog_drivers.simulated.van.faults import faults_named
from tests.bench.results import printed
from tests.cli.terminal.at_terminal import AtTerminal

Way = Literal["meter", "lamp", "port"]
WAYS: tuple[Way, ...] = ("meter", "lamp", "port")

TEN = (
    ("fuse:open", "cranks, does not start"),
    ("relay:open", "cranks, does not start"),
    ("relay_coil:not_commanded", "cranks, does not start"),
    ("ground_bolt:open", "cranks, does not start"),
    ("plug_feed_pin:2.2", "cranks, does not start"),
    ("pump:open", "cranks, does not start"),
    ("feed_wire:open", "cranks, does not start"),
    ("battery:0.014", "cranks slowly, does not start"),
    ("relay_coil:weakly_commanded", "cranks, does not start"),
    ("feed_wire:intermittent", "dies now and then"),
)
"""Says what is hidden, and what the driver says. The van's own figures come from the seed, which is the fault's
number and the draw."""
CIRCUIT = "pump-feed"
"""Says what the person chooses where no look leads to a circuit: the pump's, whose relay can be heard."""
AT_ONCE = 10
"""Jobs at a time: they mostly wait for a key to be turned."""
LONGEST_S = 660.0
"""A job that takes longer has failed, s; on an idle machine the longest takes a third of it."""
MOST_STEPS = 60
TAKE = "\r"
PROMPTS = ("q end", " ".join(LAMP_HELP.split()))
WHY = 90
"""So many characters of what went wrong are kept in the table."""
LAMP_KEYS = {"bright": "b", "dim": "d", "glowing": "g", "dark": "k"}
SPEED = {"meter": 5, "lamp": 1, "port": 1}
"""Says how fast the van is played: a port is real time."""
WAIT_S = {"meter": 3.0, "lamp": 3.0, "port": 14.0}
"""Says how long the job waits for a change; on a port longer than a turn of the key, on a busy machine too."""


@dataclass
class Outcome:
    """Holds how one job went.

    Attributes:
        fault, complaint: what was hidden, and what was said.
        repaired: the parts that were put right, in order.
        state: of the job in the end.
        looks, readings, tries: steps of each kind, proof included.
        keys: presses while the job went on.
        commands: the command lines that were typed, without `meterlog`.
        took_s: by the clock.
        why: what went wrong; empty where nothing did.
    """

    fault: str
    complaint: str
    repaired: list[str] = field(default_factory=list)
    state: str = ""
    looks: int = 0
    readings: int = 0
    tries: int = 0
    keys: int = 0
    commands: list[list[str]] = field(default_factory=list)
    took_s: float = 0.0
    why: str = ""

    @property
    def part(self) -> str:
        """The part at fault."""
        return self.fault.partition(":")[0]

    @property
    def right(self) -> bool:
        """True where that part alone was put right, and is proved."""
        return self.state == "proved" and self.repaired == [self.part]


class Script:
    """Presses the keys that the next step of a job asks for, and moves the probes.

    Args:
        at: the terminal in which `job measure` runs.
        folder: of the job.
        person: at the van.
        tell: moves the probes of a meter on a port; does nothing for another.
        outcome: counts.
    """

    def __init__(
        self, at: AtTerminal, folder: Path, person: Person, tell: Callable[[str], None], outcome: Outcome
    ) -> None:
        self._at, self._folder, self._person, self._tell, self._outcome = at, folder, person, tell, outcome
        self._line = ""
        self._end_s = time.monotonic() + LONGEST_S

    def run(self) -> Status:
        """Go on until nothing is left to do; where the job stands then."""
        for _ in range(MOST_STEPS):
            now = status_of(read_job(self._folder))
            if now.next.kind == "done":
                self._at.until("Done.")
                return now
            self._step(now.next)
            self._until_entered(len(now.job.steps))
        raise AssertionError(f"{MOST_STEPS} steps did not end it: {now.next.text}")

    def _step(self, following: Next) -> None:
        asked = following.as_json()
        if following.kind in ("measure", "prove") and following.measurement is not None:
            self._measure(asked, following)
            return
        if following.kind == "prove" and following.measurement is None:
            raise AssertionError(following.text)
        if following.kind == "look" and following.look is None:
            self._press(f"t{CIRCUIT}\r")
            return
        answer = self._person.do(asked)
        if following.kind == "repair":
            self._tell(f"repaired {answer}")
            self._press("y")
        else:
            found = following.look or following.attempt
            assert found is not None
            answers = [*found.answers, "unknown"]
            self._press(CHOICES[answers.index(answer)])

    def _measure(self, asked: dict[str, object], following: Next) -> None:
        m = following.measurement
        assert m is not None
        if m.state == "run" and self._person.do(asked) == REFUSED:
            self._press("n")
        elif m.quantity == "lamp":
            self._press(f"l{LAMP_KEYS[self._person.do(asked)]}")
        else:
            self._line = line_for(self._person.van.place(asked))
            self._tell(self._line)

    def _until_entered(self, steps: int) -> None:
        """Wait for the step in the job's file; a reading that waits is taken as it stands."""
        waited = 0
        while len(read_job(self._folder).steps) == steps:
            if time.monotonic() > self._end_s:
                raise AssertionError(f"not done in {LONGEST_S:.0f} s: {self._at.plain[-300:]}")
            if self._at.came("Still waiting"):
                waited += 1
                if waited == 1:
                    self._tell(self._line)  # off, on and the key once more, before what stands is believed
                else:
                    self._press(TAKE)

    def _press(self, keys: str) -> None:
        if keys != TAKE:
            self._at.until(
                "q end", " ".join(LAMP_HELP.split())
            )  # before the first prompt the terminal throws keys away
        self._outcome.keys += len(keys)
        self._at.press(keys)


def tried(number: int, way: Way, draw: int = 0) -> Outcome:
    """Find one of the ten, in the van of another draw."""
    fault, complaint = TEN[number]
    outcome, began_s = Outcome(fault, complaint), time.monotonic()
    with tempfile.TemporaryDirectory() as parent:
        try:
            _job(number + len(TEN) * draw, way, Path(parent), outcome)
        except (AssertionError, MeterlogError) as error:
            outcome.why = " ".join(str(error).split())[-200:]
    outcome.took_s = time.monotonic() - began_s
    print(
        f"{way} {fault}: {'right' if outcome.right else outcome.why or outcome.repaired}", file=sys.stderr, flush=True
    )
    return outcome


def _job(seed: int, way: Way, parent: Path, outcome: Outcome) -> None:
    van = MeasuredVan(faults_named(outcome.fault, seed), seed)
    with _meter(outcome.fault, seed, way) as (options, tell):
        _command(outcome, parent, "job", "start", "van", "--complaint", outcome.complaint, *options)
        measure = ["job", "measure"]
        outcome.commands.append(measure)
        with AtTerminal(*measure, "--wait", f"{WAIT_S[way]:g}", columns=80, folder=parent) as at:
            now = Script(at, parent / "van", Person(van), tell, outcome).run()
        outcome.state, outcome.repaired = now.state, [str(s.values["part"]) for s in now.job.of("repaired")]
        outcome.looks, outcome.readings = len(now.job.of("look")), len(now.job.of("measured"))
        outcome.tries = len(now.job.of("tried"))
        _command(outcome, parent, "job", "report")


def _command(outcome: Outcome, parent: Path, *words: str) -> None:
    outcome.commands.append(list(words))
    done = subprocess.run(
        [sys.executable, "-m", "meterlog", *words], cwd=parent, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@contextmanager
def _meter(fault: str, seed: int, way: Way) -> Iterator[tuple[list[str], Callable[[str], None]]]:
    """Return what `job start` is given to measure with, and what moves the probes."""
    if way == "lamp":
        yield ["--tool", "lamp"], lambda _: None
        return
    if way == "meter":
        yield ["--meter", f"sim:van?fault={fault}&seed={seed}&speed={SPEED[way]}"], lambda _: None
        return
    words = [sys.executable, "-m", "meterlog", "emulate", "van", "--fault", fault, "--seed", str(seed)]
    with subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        lines = process.stdin

        def tell(line: str) -> None:
            lines.write(line + "\n")
            lines.flush()

        try:
            yield ["--meter", f"status14:{process.stdout.readline().strip()}"], tell
        finally:
            process.kill()


def _table(way: Way, outcomes: Sequence[Outcome]) -> Iterator[str]:
    """The ten in one way, as Markdown."""
    right = sum(outcome.right for outcome in outcomes)
    yield f"**{way}**: {right} of {len(outcomes)} right"
    yield ""
    yield "| hidden | put right | state | looks | readings | tries | keys | clock |"
    yield "|---|---|---|---|---|---|---|---|"
    for o in outcomes:
        figures = f"{o.looks} | {o.readings} | {o.tries} | {o.keys} | {o.took_s:.0f} s"
        yield f"| `{o.fault}` | {', '.join(o.repaired) or '-'} | {(o.why or o.state)[-WHY:]} | {figures} |"
    yield ""
    yield from _typed(outcomes)


def _typed(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Return what a person types, of the jobs that came to an end."""
    ended = [outcome for outcome in outcomes if outcome.state]
    if not ended:
        return
    commands = max(len(outcome.commands) for outcome in ended)
    words = max(sum(len(command) + 1 for command in outcome.commands) for outcome in ended)
    paths = max(sum(word == "van" for command in outcome.commands[1:] for word in command) for outcome in ended)
    yield f"Typed at the most: {commands} commands, {words} words; the folder {paths} times after the first; 1 folder."
    yield ""


def main(argv: Sequence[str]) -> int:
    """Try the ten in some ways; 0 where all are right."""
    ways: list[Any] = [word for word in argv if word in WAYS] or list(WAYS)
    draw, wrong = next((int(word) for word in argv if word.isdecimal()), 0), 0
    for way in ways:
        writing = nullcontext() if draw else printed(f"hidden faults, {way}", markdown=True)
        with writing, ThreadPoolExecutor(AT_ONCE) as pool:
            outcomes = list(pool.map(lambda number, way=way: tried(number, way, draw), range(len(TEN))))
            print("\n".join(_table(way, outcomes)), flush=True)
        wrong += sum(not outcome.right for outcome in outcomes)
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
