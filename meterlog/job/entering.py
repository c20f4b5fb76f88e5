"""Enters what a person tells a job: looks, readings, repairs; each is checked, and becomes one step."""

from __future__ import annotations

import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

from meterlog.circuit.complaints.complaint import Complaint, likelihood, standing
from meterlog.circuit.complaints.complaint_file import find_complaint
from meterlog.circuit.model.circuit_file import load_circuit, template_names, template_text
from meterlog.circuit.next_measurement.attempts import Attempt
from meterlog.circuit.readings.from_rows import trial_from_row
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.observed import Observed, observed_from_table, questions
from meterlog.circuit.readings.typed_answers import HOW_BRIGHT, typed_lamp, typed_trial, typed_unplugged, typed_value
from meterlog.errors import CircuitError, JobError, UsageError, did_you_mean
from meterlog.job.case import JobCase, case_of
from meterlog.job.job import Job
from meterlog.job.job_file import add_step, add_steps, set_value
from meterlog.job.status import status_of
from meterlog.job.taking import Taken

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
        chosen = choose_circuit(job, answer)  # its copy is named: the folder goes on with another computer
        return add_step(job.folder, "look", {"key": key, "answer": chosen.removesuffix(".toml"), "circuit": chosen})
    complaint = find_complaint(job.complaint)
    _check_look(job, complaint, key, answer)
    values = {"key": key, "answer": answer, "circuit": ""}
    if not job.circuit and complaint is not None:
        chosen = standing(complaint, {**job.observed, key: answer}).chosen
        if chosen in template_names():
            values["circuit"] = choose_circuit(job, chosen)
    return add_step(job.folder, "look", values)


def _check_look(job: Job, complaint: Complaint | None, key: str, answer: str) -> None:
    """Refuse an answer that nobody can use: it belongs to the complaint, or to the parts of a circuit, or to both.

    Raises:
        UsageError: nothing is known of that key.
        CircuitError: it has no such answer.
    """
    known = [look.key for look in complaint.looks] if complaint else []
    if key in questions():
        case = case_of(job)
        observed_from_table({key: answer}, case.circuit if case else load_circuit("pump-feed"), "a look:")
    elif key not in known:
        every = dict.fromkeys([*known, *questions(), CHOOSES])
        raise UsageError(f"nothing is known of '{key}'{did_you_mean(key, every)}; it can be {', '.join(every)}")
    if complaint is not None and key in known and answer != "unknown":
        likelihood(complaint.look(key), answer)


def enter_trial(job: Job, words: str) -> Job:
    """Enter what was tried: `bridged relay runs`, `fed pump_plus dead`, `replaced fuse blew`.

    Raises:
        JobError: no circuit is chosen.
        UsageError: it does not say what was tried, and what came of it.
        CircuitError: the circuit has no such part.
    """
    case = _case(job)
    row = typed_trial(words, case.circuit)
    if row is None:
        raise UsageError(
            f"'{words}' is no trial: write 'bridged relay runs', 'fed pump_plus dead', 'replaced fuse blew'"
        )
    trial_from_row(row, case.circuit, "a trial:")
    return add_step(job.folder, "tried", row)


def _enter_result(job: Job, case: JobCase, attempt: Attempt, typed: str) -> Job:
    """Enter what came of what was to be tried next; who cannot tell (`unknown`) passes it.

    Raises:
        CircuitError: that cannot come of it.
    """
    came_of_it = attempt.told(case.circuit, typed)
    if came_of_it is None:
        return skip(job, attempt)
    if isinstance(came_of_it, Observed):
        return enter_look(job, came_of_it.key, came_of_it.answer)
    return add_step(job.folder, "tried", came_of_it.as_row())


def wanted(job: Job, given: Mapping[str, str | None]) -> tuple[JobCase, Measurement | Attempt]:
    """Return what is to be measured or tried: what was named, or else what comes next.

    Args:
        job: with a circuit.
        given: `quantity at to state load`; None for what was not named.

    Raises:
        JobError: nothing is to be measured now.
        CircuitError: the circuit has no such place.
    """
    row = {key: value for key, value in given.items() if value is not None}
    if row:
        case = _case(job)
        return case, _named(case, row)
    now = status_of(job, suggestions=1)
    asked = now.next.measurement or now.next.attempt
    if now.case is None or asked is None:
        asked_for = now.next.for_folder(job.folder)
        how = f"'meterlog job status {job.folder}' shows how to enter it"
        raise JobError(f"the next step is not a measurement but this: {asked_for} ({how})")
    return now.case, asked


def enter_value(job: Job, case: JobCase, m: Measurement | Attempt, typed: str) -> Job:
    """Enter a reading as a person types it, or what came of what was tried; a lamp may stand in for the meter, by its
    brightness.

    Raises:
        UsageError: it is not a reading of that quantity.
        CircuitError: no vehicle can show it, or that cannot come of it.
    """
    if isinstance(m, Attempt):
        return _enter_result(job, case, m, typed)
    typed, out = typed_unplugged(typed, case.circuit)
    m = replace(m, unplugged=out.get("unplugged", m.unplugged))
    lamp = typed_lamp(typed)
    if lamp is not None:
        row = {**m.as_row(), **lamp[0]}
        case.measurement(row)
        return add_step(job.folder, "measured", row | {"how": "typed"})
    if m.quantity == "lamp":
        raise UsageError(f"'{typed}' is no lamp: {HOW_BRIGHT}")
    return enter_reading(job, case, m, typed_value(typed, m.quantity), {"how": "typed"})


def enter_reading(job: Job, case: JobCase, m: Measurement, value: float, source: Mapping[str, object]) -> Job:
    """Enter a reading in its unit; inf is an overload.

    Raises:
        CircuitError: no vehicle can show it.
    """
    row = replace(m, value=value, error=None).as_row() | dict(source)
    case.measurement(row)
    return add_step(job.folder, "measured", row)


def enter_taken(job: Job, case: JobCase, taken: Sequence[Taken]) -> Job:
    """Enter what meters showed at the same moments, in one write; one that stays somewhere tells a state once.

    Raises:
        CircuitError: no vehicle can show it.
    """
    since = job.after if job.repaired else job.steps
    told = {m.place for m in case.measured(since)}
    new = [one for k, one in enumerate(taken) if not k or one.measurement.place not in told]
    rows = [one.measurement.as_row() | one.source for one in new]
    for row in rows:
        case.measurement(row)
    return add_steps(job.folder, [("measured", row) for row in rows])


def skip(job: Job, m: Measurement | Attempt, why: str = "") -> Job:
    """Refuse what comes next: it cannot be reached, or is not on this vehicle."""
    to = m.to if isinstance(m, Measurement) else ""
    quantity = m.quantity if isinstance(m, Measurement) else "try"
    return add_step(job.folder, "skipped", {"quantity": quantity, "at": m.at, "to": to, "place": m.place, "why": why})


def enter_repair(job: Job, part: str, *, price: float | None, minutes: float | None, note: str) -> Job:
    """Enter that a part was repaired or replaced.

    Raises:
        JobError: no circuit is chosen, or it has no such part.
    """
    case = _case(job)
    known = [*case.circuit.part_index, *case.circuit.commands]
    if part not in known:
        near = f"{did_you_mean(part, known)}; it has {', '.join(known)}"
        raise JobError(f"the circuit '{case.circuit.name}' has no part '{part}'{near}")
    return add_step(job.folder, "repaired", {"part": part, "price": price, "minutes": minutes, "note": note})


def _case(job: Job) -> JobCase:
    case = case_of(job)
    if case is None:
        raise JobError(f"no circuit is chosen yet: 'job look {job.folder} circuit=NAME'")
    return case


def _named(case: JobCase, row: dict[str, str]) -> Measurement:
    """A measurement by its place; the quantity follows from it where it was not named."""
    if "at" not in row:
        raise CircuitError("--at is missing: the point or part to measure at")
    if "quantity" not in row:
        across = row["at"] in case.circuit.part_index and "to" not in row
        row["quantity"] = "resistance" if row.get("state") == "isolated" else "voltage_drop" if across else "voltage"
    return case.measurement(row | {"value": "dark" if row["quantity"] == "lamp" else 0.0})
