"""The next step of a job: a look, a measurement, a repair, its proof, or nothing any more."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from meterlog.circuit.acts import cautions_for
from meterlog.circuit.complaints.complaint import Complaint, Look
from meterlog.circuit.diagnosis import Diagnosis
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_file import template_names
from meterlog.circuit.next_measurement.attempt_words import cautions, how
from meterlog.circuit.next_measurement.attempts import MOVES, Attempt, moving_the_harness
from meterlog.circuit.next_measurement.instructions import Instruction, instruction
from meterlog.circuit.next_measurement.propose import Proposal
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.case import JobCase
from meterlog.text.figures import percent

MOVE_FROM = 0.8
"""The harness of what comes and goes is moved once nothing is wrong at this moment with this probability. A guess."""

StepWanted = Literal["look", "measure", "try", "repair", "prove", "done"]


@dataclass(frozen=True, slots=True)
class Next:
    """Says what to do next.

    Attributes:
        kind: `done` where nothing is left to do here.
        text: one or two sentences.
        measurement: what is measured, for `measure` and `prove`; its value is not set.
        minutes: what it takes; None where nobody can say.
        how: dial, red, black, key and unplug, in words.
        cautions: what to mind, the most dangerous first.
        look: the question, for `look`; None where a circuit is to be chosen.
        attempt: what is tried, and what may come of it, for `try`.
        part: what is to be put right, for `repair`.
        outcomes: what may be read, and what that would mean.
        again: why a measurement is asked for that was taken already; empty where it was not.
    """

    kind: StepWanted
    text: str
    measurement: Measurement | None = None
    minutes: float | None = None
    how: Mapping[str, str] = field(default_factory=dict)
    cautions: tuple[str, ...] = ()
    look: Look | None = None
    attempt: Attempt | None = None
    part: str = ""
    outcomes: tuple[tuple[str, str], ...] = ()
    again: str = ""

    def for_folder(self, folder: Path) -> str:
        """The text, with the job's folder in the commands that it names."""
        return self.text.replace("FOLDER", str(folder))

    def as_json(self) -> dict[str, object]:
        """The object of `job status --json`."""
        m = self.measurement
        found: dict[str, object] = {"kind": self.kind, "text": self.text}
        found |= {key: getattr(m, key) if m else None for key in ("at", "to", "state", "load", "quantity")}
        if m and m.unplugged:
            found["unplugged"] = m.unplugged
        if self.attempt:
            found["at"] = self.attempt.at or None
        found["minutes"] = self.minutes
        found |= {key: self.how.get(key) for key in ("dial", "red", "black", "key", "unplug")}
        found["cautions"] = list(self.cautions)
        found["part"] = self.part or None
        found["look"] = self.look and {"key": self.look.key, "answers": [*self.look.answers, "unknown"]}
        found["tried"] = self.attempt and self.attempt.row
        found["answers"] = self.attempt and list(self.attempt.answers)
        found["outcomes"] = [{"if": seen, "then": meaning} for seen, meaning in self.outcomes]
        return found


def next_look(complaint: Complaint | None, look: Look | None, chosen: str) -> Next:
    """Return what to look at while no circuit is chosen."""
    if look is not None:
        return Next("look", look.question, minutes=look.minutes, look=look)
    choice = f"choose the circuit with 'job look FOLDER circuit=NAME' ({', '.join(template_names())}, or a file)"
    if complaint is not None and chosen in complaint.names:
        return Next("look", f"Most likely it is {complaint.names[chosen]}. If it is not that, {choice}.")
    return Next("look", f"Nothing more to look at: {choice}.")


def next_for_circuit(
    case: JobCase, diagnosis: Diagnosis, skipped: set[str], replaced: Sequence[str], observed: Container[str]
) -> Next:
    """Return what to measure or to repair, as the diagnosis stands.

    Args:
        case: the circuit.
        diagnosis: with its suggestions.
        skipped: places that were refused.
        replaced: parts whose repair changed nothing: they are not named again.
        observed: keys of what was looked at or tried.
    """
    works_now = diagnosis.healthy + diagnosis.comes_and_goes >= MOVE_FROM
    if case.comes_and_goes and works_now and MOVES not in observed and MOVES not in skipped:
        return _moving(case.circuit)
    if diagnosis.decided == "healthy":
        return Next("done", diagnosis.enough)
    left = [step for step in diagnosis.steps if step.place not in skipped]
    suspects = [h for h in diagnosis.hypotheses if h.part not in replaced]
    # what fails all the time is at fault somewhere here; what comes and goes may be no fault of this circuit
    worth_it = bool(suspects) and (not case.comes_and_goes or suspects[0].probability > diagnosis.healthy)
    if suspects and (suspects[0].part == diagnosis.decided or (worth_it and not left)):
        first = suspects[0]
        way_on = "".join(f" {percent(one.probability)}: {one.words}; next: {one.next}." for one in first.behind[:2])
        text = f"Put {first.part} right: it {first.words}.{way_on} Then 'job repaired FOLDER {first.part}'."
        return Next("repair", text, part=first.part, cautions=diagnosis.repair_cautions)
    if not left:
        in_vain = f" {', '.join(replaced)} changed nothing: look outside of this circuit." if replaced else ""
        return Next("done", diagnosis.enough + in_vain)
    step = left[0]
    if isinstance(step, Proposal):
        return _trying(step)
    return measuring(case, step.measurement, "measure", step.minutes, step.outcomes, step.again)


def _moving(circuit: Circuit) -> Next:
    """Say how the harness is moved: readings that are good while it works clear nothing that comes and goes."""
    attempt = moving_the_harness(circuit)
    way = how(circuit, attempt)
    return Next(
        "try",
        f"It works while it is measured, so make it fail. {way.text}",
        minutes=attempt.minutes,
        how=_words(way),
        cautions=cautions(circuit, attempt),
        attempt=attempt,
    )


def _trying(p: Proposal) -> Next:
    """Say how something is tried."""
    return Next(
        "try",
        p.how.text,
        minutes=p.minutes,
        how=_words(p.how),
        cautions=p.cautions,
        attempt=p.attempt,
        outcomes=p.outcomes,
    )


def measuring(
    case: JobCase,
    m: Measurement,
    kind: Literal["measure", "prove"],
    minutes: float | None = None,
    outcomes: tuple[tuple[str, str], ...] = (),
    again: str = "",
) -> Next:
    """Say how a measurement is taken, and why again where it was taken already."""
    how = instruction(case.circuit, m)
    text, cautions = f"{again} {how.text}".lstrip(), cautions_for(case.circuit, [m])
    return Next(kind, text, m, minutes, _words(how), cautions, outcomes=outcomes, again=again)


def _words(how: Instruction) -> dict[str, str]:
    return {"dial": how.dial, "red": how.red, "black": how.black, "key": how.key, "unplug": how.unplug}
