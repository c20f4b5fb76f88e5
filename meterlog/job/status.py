"""Works out where a job stands: what is known, its chances, the next step, the repairs and their proof."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Literal

from meterlog.cautions import DEFERS
from meterlog.circuit.complaints.complaint import Standing, standing
from meterlog.circuit.complaints.complaint_file import find_complaint
from meterlog.circuit.diagnosis import Diagnosis
from meterlog.circuit.readings.measurement import PLACE, UNITS, Measurement
from meterlog.circuit.readings.trial import Told
from meterlog.job.case import JobCase, case_of
from meterlog.job.job import Job, Step
from meterlog.job.next_step import Next, measuring, next_for_circuit, next_look
from meterlog.job.proof import NOTHING, Proof, proof
from meterlog.text.figures import percent

State = Literal["open", "waiting", "repaired", "proved", "closed"]
OVER: tuple[State, ...] = ("proved", "closed")
"""States of a job with which nobody goes on."""
SUGGESTIONS = 5
"""Measurements that are worked out beyond those that were refused. A choice, as in `diagnose`."""


@dataclass(frozen=True)
class Known:
    """Says what is known of a job, without what comes next.

    Attributes:
        job: as its file says.
        state: `repaired` until the proof is there; `open` again where it failed.
        case: its circuit; None while none is chosen.
        circuits: what looks tell while no circuit is chosen; None afterwards, or where the complaint is not known.
        diagnosis: None while there is no circuit.
        proof: of the last repair.
        replaced: parts whose repair changed nothing.
    """

    job: Job
    state: State
    case: JobCase | None
    circuits: Standing | None
    diagnosis: Diagnosis | None
    proof: Proof
    replaced: tuple[str, ...]

    @property
    def chances(self) -> Mapping[str, float]:
        """Return the chances of the circuits, while none is chosen."""
        return self.circuits.chances if self.circuits is not None else {}

    @property
    def verdict(self) -> str:
        """Return what is known, in one sentence."""
        if self.diagnosis is not None:
            return self.diagnosis.verdict.removesuffix(f"; {DEFERS}.")
        if not self.chances:
            return "nothing known yet"
        name, chance = next(iter(self.chances.items()))
        return f"not measured yet, likeliest {name} ({percent(chance)})"


@dataclass(frozen=True)
class Status(Known):
    """Says where a job stands, and what to do next."""

    next: Next

    def as_json(self) -> dict[str, object]:
        """The object of `job status --json`."""
        return {
            "job": str(self.job.folder),
            "state": self.state,
            "waiting": waiting_row(self.job),
            "complaint": self.job.complaint,
            "vehicle": self.job.vehicle,
            "circuit": self.job.circuit.removesuffix(".toml") or None,
            "circuits": [{"circuit": name, "probability": round(p, 4)} for name, p in self.chances.items()],
            "observed": self.job.observed,
            "readings": [reading_row(step) for step in self.job.of("measured")],
            "diagnosis": self.diagnosis and self.diagnosis.as_json(),
            "rates": self.job.rates.source,
            "next": self.next.as_json(),
            "repairs": [repair_row(step) for step in self.job.of("repaired")],
            "proof": self.proof.as_json(),
        }


def status_of(job: Job, *, suggestions: int = SUGGESTIONS) -> Status:
    """Work out where a job stands.

    Args:
        job: as its file says.
        suggestions: how many measurements to work out beyond those that were refused; 1 where only the next is wanted.

    Raises:
        CircuitError: its circuit is gone or wrong, or a reading names a place that it does not have.
    """
    now = known_of(job, suggestions=suggestions)
    return Status(**{field.name: getattr(now, field.name) for field in fields(now)}, next=_next(now))


def known_of(job: Job, *, suggestions: int = 0) -> Known:
    """Work out what is known of a job; without measurements to suggest that takes a fifth of the time.

    Raises:
        CircuitError: as `status_of`.
    """
    case = case_of(job)
    if case is None:
        complaint = find_complaint(job.complaint)
        looks = standing(complaint, job.observed) if complaint else None
        return Known(job, _state(job, NOTHING), None, looks, None, NOTHING, ())
    more = suggestions + len(_skipped(job)) if suggestions else 0
    repairs = tuple(str(step.values["part"]) for step in job.of("repaired"))
    before = case.told(job.before, failed=repairs[:-1])
    diagnosis = case.diagnoser.diagnose(*before, suggestions=0 if job.repaired else more)
    shown = _proof(job, case, before, diagnosis)
    if shown.verdict != "not proved":
        return Known(job, _state(job, shown), case, None, diagnosis, shown, repairs[:-1])
    diagnosis = case.diagnoser.diagnose(*case.told(job.steps, failed=repairs), suggestions=more)
    return Known(job, _state(job, shown), case, None, diagnosis, shown, repairs)


def _state(job: Job, shown: Proof) -> State:
    if job.closed:
        return "closed"
    if shown.verdict == "proved":
        return "proved"
    if job.waiting:
        return "waiting"
    return "repaired" if job.repaired and shown.verdict == "not yet" else "open"


def _skipped(job: Job) -> set[str]:
    """Return the places that were refused; after a repair, only those refused since."""
    steps = job.after if job.repaired else job.before
    return {str(step.values["place"]) for step in steps if step.kind == "skipped"}


def _proof(job: Job, case: JobCase, before: tuple[list[Measurement], list[Told]], known: Diagnosis) -> Proof:
    """Hold what was read since the last repair against what was known before it."""
    if not job.repaired:
        return NOTHING
    after = case.measured(job.after)
    loose = any(h.part == job.repaired and h.fault == "intermittent" for h in known.hypotheses)
    return proof(case, before, after, job.repaired, loose=loose, skipped=_skipped(job))


def _next(now: Known) -> Next:
    job, shown = now.job, now.proof
    if now.state == "closed":
        return Next("done", f"Closed: {job.closed}.")
    if now.case is None or now.diagnosis is None:
        looks = now.circuits
        complaint = find_complaint(job.complaint)
        return next_look(complaint, looks.next if looks else None, looks.chosen if looks else "")
    if now.state == "proved":
        return Next("done", f"Proved: {shown.text}. Write the report: 'job report FOLDER --out FILE.html'.")
    if not job.repaired or shown.verdict == "not proved":
        return next_for_circuit(now.case, now.diagnosis, _skipped(job), now.replaced, job.observed)
    if shown.next:
        return measuring(now.case, shown.next[0], "prove")
    return Next("prove", f"{shown.text}: prove it by driving, then 'job close FOLDER --reason ...'.")


def waiting_row(job: Job) -> dict[str, object] | None:
    """Return what a job waits for, and until which day, in `job status --json`; null where it waits for nothing."""
    if not job.waits:
        return None
    until = job.steps[-1].values.get("until")
    return {"reason": job.waiting, "until": str(until) if until is not None else None}


def reading_row(step: Step) -> dict[str, object]:
    """One reading of `job status --json`; null for an overload, with `overload` true."""
    values = step.values
    value = values["value"]
    found: dict[str, object] = {key: values.get(key) for key in PLACE}
    number = float(value) if isinstance(value, int | float) else math.nan
    found["value"] = number if math.isfinite(number) else value if isinstance(value, str) else None
    found["unit"] = UNITS.get(str(values["quantity"]))
    return found | {key: values.get(key) for key in ("error", "session", "time_s")}


def repair_row(step: Step) -> dict[str, object]:
    """One repair of `job status --json`."""
    return {key: step.values.get(key) for key in ("part", "price", "minutes", "note")}
