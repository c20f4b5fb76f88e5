"""The job's part of the report: complaint, what was found and why, what was put right, before and after in figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from meterlog.cautions import sentence
from meterlog.circuit.readings.measurement import Measurement
from meterlog.errors import MeterlogError
from meterlog.job.job import Step
from meterlog.job.status import Status
from meterlog.loaded import Loaded, load
from meterlog.report.circuit import CircuitPart, circuit_part, plain
from meterlog.text.figures import seconds

_MARK = {"proved": "within", "not proved": "outside", "not yet": "cannot tell"}
"""The mark that stands for each verdict of a proof."""


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair, in words; empty where nobody said."""

    part: str
    price: str
    minutes: str
    note: str


@dataclass(frozen=True, slots=True)
class JobPart:
    """A job as a customer reads it.

    Attributes:
        complaint: what the driver says.
        details: (name, value): vehicle, customer, odometer, ...
        found: the verdict before the repair, in one sentence.
        reasons: what spoke for it.
        repairs: in their order.
        proof: the verdict of the proof; empty where nothing was repaired.
        mark: the mark that stands for it.
        deciding: one sentence a deciding reading, before and after.
        observed: what was seen or heard.
        readings: every reading, in words, with when and how.
        skipped: what was not examined.
        total: minutes and price of the repairs, in words; empty where nobody said.
    """

    complaint: str
    details: list[tuple[str, str]]
    found: str
    reasons: list[str]
    repairs: list[Repair]
    proof: str
    mark: str
    deciding: list[str]
    observed: list[str]
    readings: list[tuple[str, str]]
    skipped: list[str]
    total: str


def job_part(now: Status) -> JobPart:
    """Put a job into words."""
    repairs = now.job.of("repaired")
    first = now.diagnosis.hypotheses[0] if now.diagnosis and now.diagnosis.hypotheses else None
    return JobPart(
        complaint=now.job.complaint,
        details=[(key.replace("_", " "), value) for key, value in _details(now).items() if value],
        found=plain(sentence(now.verdict)),
        reasons=[plain(line) for line in first.speaks_for] if first else [],
        repairs=[_repair(step) for step in repairs],
        proof=now.proof.verdict if repairs else "",
        mark=_MARK[now.proof.verdict],
        deciding=[plain(line) for line in now.proof.sentences],
        observed=[f"{key.replace('_', ' ')}: {answer}" for key, answer in now.job.observed.items()],
        readings=_readings(now),
        skipped=[str(step.values.get("place", step.values["at"])) for step in now.job.of("skipped")],
        total=_total(repairs),
    )


def job_sessions(now: Status) -> tuple[list[Loaded], list[str]]:
    """The sessions of a job's readings, and a sentence for each that cannot be read."""
    found, missing = [], []
    for name in now.job.sessions:
        try:
            found.append(load(str(now.job.folder / name)))
        except MeterlogError as error:
            missing.append(str(error))
    return found, missing


def job_circuit(now: Status) -> CircuitPart | None:
    """The circuit's part, from the readings before the repair; None while no circuit is chosen."""
    if now.case is None:
        return None
    steps = now.job.before if now.job.repaired else now.job.steps
    return circuit_part(now.case.diagnoser, *now.case.told(steps))


def _details(now: Status) -> dict[str, str]:
    return {"vehicle": now.job.vehicle, **now.job.details, "state": now.state}


def _repair(step: Step) -> Repair:
    price, minutes = step.values.get("price"), step.values.get("minutes")
    return Repair(
        part=str(step.values["part"]).replace("_", " "),
        price=f"{price:g}" if isinstance(price, int | float) else "",
        minutes=f"{minutes:g} min" if isinstance(minutes, int | float) else "",
        note=str(step.values.get("note", "")),
    )


def _readings(now: Status) -> list[tuple[str, str]]:
    if now.case is None:
        return []
    rows: list[tuple[Step, Measurement]] = [
        (step, now.case.measurement(step.values)) for step in now.job.of("measured")
    ]
    return [(step.when.replace("T", " ")[:16], plain(str(m)) + _from(step)) for step, m in rows]


def _from(step: Step) -> str:
    session, time_s = step.values.get("session"), step.values.get("time_s")
    if not session:
        return ", typed"
    return f", recorded in {session}" + (f" at {seconds(float(time_s))}" if isinstance(time_s, int | float) else "")


def _total(repairs: Sequence[Step]) -> str:
    minutes = [float(v) for step in repairs if isinstance(v := step.values.get("minutes"), int | float)]
    prices = [float(v) for step in repairs if isinstance(v := step.values.get("price"), int | float)]
    words = [f"parts {sum(prices):g}"] if prices else []
    words += [f"{sum(minutes):g} min of work"] if minutes else []
    return ", ".join(words)
