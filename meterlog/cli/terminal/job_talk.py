"""`job measure` in a terminal: one step after the other until the job is done, from a meter, a lamp or by typing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from meterlog.circuit.complaints.complaint import Look
from meterlog.circuit.next_measurement.attempts import Attempt
from meterlog.circuit.readings.measurement import Measurement
from meterlog.cli.terminal.job_lines import caught_lines
from meterlog.cli.terminal.job_screen import JobScreen
from meterlog.cli.terminal.job_step_text import arranged, how_lines, meaning, next_line
from meterlog.cli.terminal.job_text import said_before
from meterlog.cli.terminal.keys import Keys
from meterlog.cli.terminal.output_streams import CAUGHT, FAILED
from meterlog.cli.terminal.step_keys import CANNOT_REACH, CHOICES, Answer
from meterlog.cli.terminal.wrap import wrapped
from meterlog.errors import MeterlogError
from meterlog.job.case import JobCase
from meterlog.job.entering import CHOOSES, enter_look, enter_repair, enter_taken, enter_value, skip, wanted
from meterlog.job.job import Job
from meterlog.job.job_file import read_job, undo
from meterlog.job.next_step import Next, measuring
from meterlog.job.status import Status, status_of
from meterlog.job.taking import Taken, take_into
from meterlog.job.taking.meters import stays
from meterlog.text.ids import plain

_YES, _END = "y", "q"


class JobTalk:
    """Goes through a job's steps with the person."""

    def __init__(self, job: Job, addresses: Sequence[str], wait_s: float, named: Mapping[str, str | None]) -> None:
        """Begin.

        Args:
            job: to go on with.
            addresses: of the meters; without any, readings are typed.
            wait_s: how long to wait for a change, s.
            named: where to measure first; all None for what comes next.
        """
        self._job, self._addresses, self._wait_s = job, list(addresses), wait_s
        self._named: Mapping[str, str | None] = named if any(named.values()) else {}
        self._entered = 0  # steps that the last reading has made
        self._hanging = False  # the probes are where the last reading was taken
        self._said: set[str] = set()
        self._goes_on = True  # with another `job measure`, once the person has ended this one
        self._to_repair = ""

    def run(self) -> int:
        """Go on until nothing is left or the person ends it; the exit status."""
        with Keys() as keys:
            self._screen = JobScreen(keys)
            try:
                self._steps()
            except KeyboardInterrupt:
                pass
            finally:
                self._screen.close()
        first = f"Put {self._to_repair} right, then go on" if self._to_repair else "Go on"
        if self._goes_on:
            print(wrapped(f"{first} with 'meterlog job measure {self._job.folder}'"), flush=True)
        return 0

    def _steps(self) -> None:
        now = status_of(self._job)
        self._said |= said_before(now)
        news = [f"Job, {now.state}: {self._job.complaint}"]
        while True:
            following = self._following(now)
            by_driving = following.kind == "prove" and following.measurement is None
            self._to_repair = following.part
            if following.kind == "done" or by_driving:
                self._goes_on = False  # what is left is said, and is no measurement
                self._screen.say([*news, following.for_folder(self._job.folder)])
                if not by_driving:
                    self._screen.say(["Done."])
                return
            self._show(now, following, news)
            news = self._step(now, following)
            if not news:
                return
            self._named = {}
            before, now = now, status_of(read_job(self._job.folder))
            self._job = now.job
            news.append(meaning(before, now))

    def _following(self, now: Status) -> Next:
        if not self._named:
            return now.next
        case, m = wanted(self._job, self._named)
        assert isinstance(m, Measurement), "a place was named"
        return measuring(case, m, "measure")

    def _show(self, now: Status, following: Next, news: list[str]) -> None:
        """Say what comes next, and how."""
        m = following.measurement
        fixed = m is not None and now.case is not None and stays(self._addresses, now.case.circuit, m)
        how = how_lines(following, stays=fixed) if m is not None else []
        minds = [caution for caution in following.cautions if caution not in self._said]
        self._said.update(minds)
        self._screen.say(arranged([*news, next_line(following, self._job.folder)], how, minds, self._screen.size))

    def _step(self, now: Status, following: Next) -> list[str]:
        """Do one step; what there is to say of it, nothing where the person ends."""
        if following.attempt is not None and now.case is not None:
            return self._try(now.case, following.attempt)
        if following.part:
            return self._repair(following)
        if following.measurement is not None and now.case is not None:
            return self._measure(now.case, following.measurement)
        return self._look(following.look) if following.look is not None else self._choose_circuit()

    def _look(self, look: Look) -> list[str]:
        answer = self._chosen(list(look.answers))
        if not answer:
            return []
        enter_look(self._job, look.key, answer)
        return [f"{plain(look.key)}: {plain(answer)}"]

    def _try(self, case: JobCase, attempt: Attempt) -> list[str]:
        answer = self._chosen(attempt.answers)
        if not answer:
            return []
        enter_value(self._job, case, attempt, answer)
        return [f"{plain(attempt.place)}: {plain(answer)}"]

    def _chosen(self, answers: Sequence[str]) -> str:
        """One of some answers, by its key; empty where the person ends."""
        by_key = dict(zip(CHOICES, dict.fromkeys([*answers, "unknown"]), strict=False))
        self._screen.say(["  ".join(["", *(f"{key} {plain(answer)}" for key, answer in by_key.items())])])
        key = self._screen.choose("".join(by_key) + _END, f"1 to {max(by_key)}, q end")
        return "" if key == _END else by_key[key]

    def _choose_circuit(self) -> list[str]:
        """Let the person type a circuit's name."""
        while (answer := self._screen.ask()).kind != "end":
            try:
                if answer.kind == "typed":
                    enter_look(self._job, CHOOSES, answer.text)
                    return [f"circuit: {answer.text}"]
            except MeterlogError as error:
                self._screen.say([str(error)], "bold red", FAILED)
        return []

    def _repair(self, following: Next) -> list[str]:
        if self._screen.choose(_YES + _END, "y it is put right  q end") == _END:
            return []
        enter_repair(self._job, following.part, price=None, minutes=None, note="")
        return [f"{plain(following.part)} is put right"]

    def _measure(self, case: JobCase, m: Measurement) -> list[str]:
        """Take a reading by whatever the person has: a meter, a lamp, the keyboard."""
        while True:
            taken = self._by_meter(case, m) if self._addresses and m.quantity != "lamp" else []
            self._screen.clear()
            if taken:
                before = len(self._job.steps)
                self._job = enter_taken(self._job, case, taken)
                self._entered = len(self._job.steps) - before
                self._hanging = True
                self._screen.say([], tone=CAUGHT)
                return caught_lines(self._job.folder, taken)
            answer = self._screen.answer or self._screen.ask(lamp=m.quantity == "lamp")
            self._screen.answer = None
            if answer.kind == "end":
                return []
            try:
                said = self._by_answer(case, m, answer)
            except MeterlogError as error:
                self._screen.say([str(error)], "bold red", FAILED)
                continue
            if said:
                return said

    def _by_meter(self, case: JobCase, m: Measurement) -> list[Taken]:
        try:
            return take_into(
                self._job,
                self._addresses,
                case,
                m,
                self._screen,
                wait_s=self._wait_s,
                patient=True,
                hanging=self._hanging,
            )
        except MeterlogError as error:
            self._screen.say([f"{error}.", "r tries again, t types the reading"], "bold red", FAILED)
            self._screen.answer = None
            return []

    def _by_answer(self, case: JobCase, m: Measurement, answer: Answer) -> list[str]:
        """Do what was answered; nothing to say where the step begins again."""
        if answer.kind == "typed":
            self._job, self._entered = enter_value(self._job, case, m, answer.text), 1
            return [f"Typed: {answer.text}"]
        if answer.kind == "skip":
            self._job, self._entered = skip(self._job, m, answer.text), 0
            unreached = answer.text == CANNOT_REACH
            return ["It cannot be reached." if unreached else "It is not on this car."]
        if answer.kind == "repeat" and self._entered:
            for _ in range(self._entered):
                undo(self._job.folder)
            self._entered, self._job = 0, read_job(self._job.folder)
            return ["The last reading is taken back."]
        return []
