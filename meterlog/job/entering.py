"""What a person enters into a job: looks, readings, repairs; each is checked, and becomes one step."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from pathlib import Path

from meterlog.circuit.complaints.complaint import likelihood, standing
from meterlog.circuit.complaints.complaint_file import find_complaint
from meterlog.circuit.model.circuit_file import load_circuit, template_names, template_text
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.typed_answers import typed_value
from meterlog.errors import CircuitError, JobError, UsageError, did_you_mean
from meterlog.job.case import JobCase, case_of
from meterlog.job.job import Job
from meterlog.job.job_file import add_step, set_value
from meterlog.job.status import status_of

CHOOSES = "circuit"
"""The look that names the circuit."""


def choose_circuit(job: Job, name_or_path: str) -> str:
    """Copy a circuit into the job's folder; the name of the copy.

    Raises:
        CircuitError: there is no such template or file, or it cannot be used.
        JobError: it cannot be copied.
    """
    load_circuit(name_or_path)  # refused before anything is copied
    template = name_or_path in template_names()
    name = f"{name_or_path}.toml" if template else Path(name_or_path).name
    if name == "job.toml":
        raise JobError("a circuit's file cannot be called job.toml")
    target = job.folder / name
    try:
        if template:
            target.write_bytes(template_text(name_or_path))
        elif not (target.exists() and target.samefile(name_or_path)):
            shutil.copyfile(name_or_path, target)
    except OSError as error:
        raise JobError(f"'{target}' cannot be written: {error.strerror or error}") from error
    return name


def begin_with(job: Job, name_or_path: str) -> Job:
    """Choose the circuit at the beginning.

    Raises:
        MeterlogError: as `choose_circuit`.
    """
    return set_value(job.folder, "circuit", choose_circuit(job, name_or_path))


def enter_look(job: Job, key: str, answer: str) -> Job:
    """Enter what was looked at; the circuit that it leads to is chosen with it.

    Raises:
        MeterlogError: there is no such look, or it has no such answer.
    """
    if key == CHOOSES:
        return add_step(job.folder, "look", {"key": key, "answer": answer, "circuit": choose_circuit(job, answer)})
    complaint = find_complaint(job.complaint)
    if complaint is None:
        raise UsageError(f"nothing is known to look at for '{job.complaint}': choose with circuit=NAME")
    look = complaint.look(key)
    if answer != "unknown":
        likelihood(look, answer)
    values = {"key": key, "answer": answer, "circuit": ""}
    if not job.circuit:
        chosen = standing(complaint, {**job.observed, key: answer}).chosen
        if chosen in template_names():
            values["circuit"] = choose_circuit(job, chosen)
    return add_step(job.folder, "look", values)


def wanted(job: Job, given: Mapping[str, str | None]) -> tuple[JobCase, Measurement]:
    """What is to be measured: what was named, or else what comes next.

    Args:
        job: with a circuit.
        given: `quantity at to state load`; None for what was not named.

    Raises:
        JobError: nothing is to be measured now.
        CircuitError: the circuit has no such place.
    """
    row = {key: value for key, value in given.items() if value is not None}
    if row:
        case = case_of(job)
        if case is None:
            raise JobError(f"no circuit is chosen yet: 'job look {job.folder} circuit=NAME'")
        return case, _named(case, row)
    now = status_of(job)
    if now.case is None or now.next.measurement is None:
        raise JobError(f"the next step is not a measurement but this: {now.next.for_folder(job.folder)}")
    return now.case, now.next.measurement


def enter_value(job: Job, case: JobCase, m: Measurement, typed: str) -> Job:
    """Enter a reading as a person types it.

    Raises:
        UsageError: it is not a reading of that quantity.
        CircuitError: no vehicle can show it.
    """
    return enter_reading(job, case, m, typed_value(typed, m.quantity), {"how": "typed"})


def enter_reading(job: Job, case: JobCase, m: Measurement, value: float, source: Mapping[str, object]) -> Job:
    """Enter a reading in its unit; inf is an overload.

    Raises:
        CircuitError: no vehicle can show it.
    """
    row: dict[str, object] = {"quantity": m.quantity, "at": m.at, "to": m.to, "state": m.state, "load": m.load}
    row["value"] = "open" if value == float("inf") else value
    row |= source
    case.measurement(row)
    return add_step(job.folder, "measured", row)


def skip(job: Job, m: Measurement) -> Job:
    """Refuse a measurement: it cannot be reached, or is not on this vehicle."""
    return add_step(job.folder, "skipped", {"quantity": m.quantity, "at": m.at, "to": m.to, "place": m.place})


def enter_repair(job: Job, part: str, *, price: float | None, minutes: float | None, note: str) -> Job:
    """Enter that a part was repaired or replaced.

    Raises:
        JobError: no circuit is chosen, or it has no such part.
    """
    case = case_of(job)
    if case is None:
        raise JobError(f"no circuit is chosen yet: 'job look {job.folder} circuit=NAME'")
    known = [*case.circuit.part_index, *case.circuit.commands]
    if part not in known:
        near = f"{did_you_mean(part, known)}; it has {', '.join(known)}"
        raise JobError(f"the circuit '{case.circuit.name}' has no part '{part}'{near}")
    return add_step(job.folder, "repaired", {"part": part, "price": price, "minutes": minutes, "note": note})


def _named(case: JobCase, row: dict[str, str]) -> Measurement:
    """A measurement by its place; the quantity follows from it where it was not named."""
    if "at" not in row:
        raise CircuitError("--at is missing: the point or part to measure at")
    if "quantity" not in row:
        across = row["at"] in case.circuit.part_index and "to" not in row
        row["quantity"] = "resistance" if row.get("state") == "isolated" else "voltage_drop" if across else "voltage"
    return case.measurement(row | {"value": 0.0})
