"""Works out where a job stands: what is known, its chances, the next step, the repairs and their proof."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from meterlog.cautions import DEFERS
from meterlog.circuit.complaints.complaint import standing
from meterlog.circuit.complaints.complaint_file import find_complaint
from meterlog.circuit.diagnosis import Diagnosis
from meterlog.circuit.readings.measurement import UNITS, Measurement, Told
from meterlog.job.case import JobCase, case_of
from meterlog.job.job import Job, Step
from meterlog.job.next_step import Next, measuring, next_for_circuit, next_look
from meterlog.job.proof import NOTHING, Proof, proof

State = Literal["open", "waiting", "repaired", "proved", "closed"]
SUGGESTIONS = 30
"""Measurements looked at, so that some are left where a person cannot reach the best. A choice, as in `diagnose`."""


@dataclass(frozen=True)
class Status:
    """Says where a job stands.

    Attributes:
        job: as its file says.
        state: `repaired` until the proof is there; `open` again where it failed.
        case: its circuit; None while none is chosen.
        chances: of the circuits, while none is chosen.
        diagnosis: None while there is no circuit.
        next: what to do.
        proof: of the last repair.
    """

    job: Job
    state: State
    case: JobCase | None
    chances: Mapping[str, float]
    diagnosis: Diagnosis | None
    next: Next
    proof: Proof

    @property
    def verdict(self) -> str:
        """Return what is known, in one sentence."""
        if self.diagnosis is not None:
            return self.diagnosis.verdict.removesuffix(f"; {DEFERS}.")
        likeliest = next(iter(self.chances.items()), None)
        return f"not measured yet, likeliest {likeliest[0]} ({likeliest[1]:.0%})" if likeliest else "nothing known yet"

    def as_json(self) -> dict[str, object]:
        """The object of `job status --json`."""
        return {
            "job": str(self.job.folder),
            "state": self.state,
            "complaint": self.job.complaint,
            "vehicle": self.job.vehicle,
            "circuit": self.job.circuit.removesuffix(".toml") or None,
            "circuits": [{"circuit": name, "probability": round(p, 4)} for name, p in self.chances.items()],
            "observed": self.job.observed,
            "readings": [reading_row(step) for step in self.job.of("measured")],
            "diagnosis": self.diagnosis and self.diagnosis.as_json(),
            "next": self.next.as_json(),
            "repairs": [repair_row(step) for step in self.job.of("repaired")],
            "proof": self.proof.as_json(),
        }


def status_of(job: Job) -> Status:
    """Work out where a job stands.

    Raises:
        CircuitError: its circuit is gone or wrong, or a reading names a place that it does not have.
    """
    case = case_of(job)
    if case is None:
        return _without_circuit(job)
    repairs = [str(step.values["part"]) for step in job.of("repaired")]
    replaced = repairs[:-1]
    before = case.told(job.before, failed=replaced)
    diagnosis = case.diagnoser.diagnose(*before, suggestions=SUGGESTIONS)
    shown = _proof(job, case, before, diagnosis)
    failed = shown.verdict == "not proved"
    if failed:
        replaced = repairs
        diagnosis = case.diagnoser.diagnose(*case.told(job.steps, failed=replaced), suggestions=SUGGESTIONS)
    state: State = "closed" if job.closed else "proved" if shown.verdict == "proved" else "open"
    if state == "open" and job.repaired and not failed:
        state = "repaired"
    following = _next(job, case, state, diagnosis, shown, replaced)
    return Status(job, state, case, {}, diagnosis, following, shown)


def _without_circuit(job: Job) -> Status:
    complaint = find_complaint(job.complaint)
    now = standing(complaint, job.observed) if complaint else None
    chances = dict(now.chances) if now else {}
    if job.closed:
        return Status(job, "closed", None, chances, None, Next("done", f"Closed: {job.closed}."), NOTHING)
    following = next_look(complaint, now.next if now else None, now.chosen if now else "")
    return Status(job, "open", None, chances, None, following, NOTHING)


def _proof(job: Job, case: JobCase, before: tuple[list[Measurement], list[Told]], known: Diagnosis) -> Proof:
    """Hold what was read since the last repair against what was known before it."""
    if not job.repaired:
        return NOTHING
    after = case.measured(job.after)
    loose = any(h.part == job.repaired and h.fault == "intermittent" for h in known.hypotheses)
    skipped = {str(step.values["place"]) for step in job.after if step.kind == "skipped"}
    return proof(case, before, after, job.repaired, loose=loose, skipped=skipped)


def _next(job: Job, case: JobCase, state: State, diagnosis: Diagnosis, shown: Proof, replaced: Sequence[str]) -> Next:
    if state == "closed":
        return Next("done", f"Closed: {job.closed}.")
    if state == "proved":
        return Next("done", f"Proved: {shown.text}. Write the report: 'job report FOLDER --out FILE.html'.")
    if state == "repaired" and shown.next:
        return measuring(case, shown.next[0], "prove")
    if state == "repaired":
        return Next("prove", f"{shown.text}: prove it by driving, then 'job close FOLDER --reason ...'.")
    steps = job.after if job.repaired else job.before
    skipped = {str(step.values["place"]) for step in steps if step.kind == "skipped"}
    return next_for_circuit(case, diagnosis, skipped, replaced)


def reading_row(step: Step) -> dict[str, object]:
    """One reading of `job status --json`; null for an overload, with `overload` true."""
    values = step.values
    value = values["value"]
    found: dict[str, object] = {key: values.get(key) for key in ("quantity", "at", "to", "state", "load", "side")}
    number = float(value) if isinstance(value, int | float) else math.nan
    found["value"] = number if math.isfinite(number) else value if isinstance(value, str) else None
    found["unit"] = UNITS.get(str(values["quantity"]))
    return found | {key: values.get(key) for key in ("error", "session", "time_s")}


def repair_row(step: Step) -> dict[str, object]:
    """One repair of `job status --json`."""
    return {key: step.values.get(key) for key in ("part", "price", "minutes", "note")}
