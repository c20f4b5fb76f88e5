"""Does what a person asks of a job, through the terminal's own code; each is one step in the job's file."""

from __future__ import annotations

from argparse import ArgumentTypeError
from collections.abc import Callable, Mapping
from typing import Any

from meterlog.circuit.model.circuit_file import load_circuit, template_names
from meterlog.circuit.readings.measurement import PLACE
from meterlog.errors import JobError, UsageError
from meterlog.job import entering
from meterlog.job.experience import experience
from meterlog.job.job import Job
from meterlog.job.job_file import add_step, create_job, set_value, undo
from meterlog.job.taking.meters import checked_meters
from meterlog.text.times import day_to_come
from meterlog.text.typed import typed_number
from meterlog_dashboard.circuit.case import circuit_source
from meterlog_dashboard.frame.view import Context

Said = Mapping[str, Any]
LONGEST = 2000
"""Characters of a text; a note of a page. A guess."""
_TEXTS = ("vehicle", "complaint")


def begin(context: Context, said: Said) -> str:
    """Make a job; its name.

    Raises:
        MeterlogError: the complaint is missing, or the meter's address or the circuit cannot be used.
    """
    complaint, vehicle, meter = _text(said, "complaint"), _text(said, "vehicle"), _text(said, "meter")
    if not complaint:
        raise UsageError("say what the driver complains of, in a few words")
    meters = checked_meters([meter] if meter else [])
    circuit = _circuit(context, said)
    if circuit:
        load_circuit(circuit)  # refused before a folder is made
    name = context.jobs.free_name(vehicle or complaint)
    tool = "lamp" if said.get("tool") == "lamp" else "meter"
    job = create_job(
        context.jobs.path / name,
        complaint=complaint,
        vehicle=vehicle,
        meters=meters,
        tool=tool,
        details={},
        rates=experience(context.jobs.path),
    )
    if circuit:
        entering.begin_with(job, circuit)
    return name


def act(context: Context, name: str, do: str, said: Said) -> None:
    """Do it, unless the job has moved on since the person saw it: a press is meant for what was shown.

    Args:
        context: with the folder of jobs.
        name: of the job.
        do: one of `ACTS`.
        said: what the person entered, and the `version` of the job that was shown.

    Raises:
        MeterlogError: with one plain sentence; nothing is changed then.
    """
    if do not in ACTS:
        raise UsageError(f"a job does not know '{do}'")
    with context.jobs.changing:
        if do not in ANY_TIME and said.get("version") != context.jobs.version(name):
            raise JobError("the job has moved on meanwhile: look at what comes next now, and press again")
        ACTS[do](context, context.jobs.read(name), said)


def _look(context: Context, job: Job, said: Said) -> None:
    key, answer = _text(said, "key"), _text(said, "answer")
    entering.enter_look(job, key, _circuit(context, {"circuit": answer}) if key == entering.CHOOSES else answer)


def _value(_: Context, job: Job, said: Said) -> None:
    typed = _text(said, "value")
    if not typed:
        raise UsageError("type the reading first, as the meter shows it: 12.4")
    entering.enter_value(job, *entering.wanted(job, _place(said)), typed)


def _skip(_: Context, job: Job, said: Said) -> None:
    entering.skip(job, entering.wanted(job, _place(said))[1])


def _tried(_: Context, job: Job, said: Said) -> None:
    entering.enter_trial(job, _text(said, "words"))


def _repaired(_: Context, job: Job, said: Said) -> None:
    figures = {key: _number(said, key) for key in ("price", "minutes")}
    entering.enter_repair(job, _text(said, "part"), note=_text(said, "note"), **figures)


def _undo(_: Context, job: Job, __: Said) -> None:
    undo(job.folder)


def _close(_: Context, job: Job, said: Said) -> None:
    add_step(job.folder, "closed", {"reason": _reason(said, "say why it is closed without a proof")})


def _wait(_: Context, job: Job, said: Said) -> None:
    reason, until = _reason(said, "say what it waits for"), _text(said, "until")
    try:
        day = str(day_to_come(until)) if until else None
    except ArgumentTypeError as error:
        raise UsageError(f"the day it is due {error}") from None
    add_step(job.folder, "waiting", {"reason": reason, "until": day})


def _reason(said: Said, missing: str) -> str:
    reason = _text(said, "reason")
    if not reason:
        raise UsageError(missing)
    return reason


def _note(_: Context, job: Job, said: Said) -> None:
    text = _text(said, "text")
    if not text:
        raise UsageError("the note is empty")
    add_step(job.folder, "note", {"text": text})


def _meter(_: Context, job: Job, said: Said) -> None:
    address = _text(said, "meter")
    if not address:
        raise UsageError("choose a meter that was found, or type its address")
    set_value(job.folder, "meters", list(checked_meters([address])))


def _correct(_: Context, job: Job, said: Said) -> None:
    texts = {key: _text(said, key) for key in _TEXTS if key in said}
    if not texts.get("complaint", "x"):
        raise UsageError("a job needs its complaint")
    for key, text in texts.items():
        set_value(job.folder, key, text)


ACTS: dict[str, Callable[[Context, Job, Said], None]] = {
    "look": _look,
    "value": _value,
    "skip": _skip,
    "tried": _tried,
    "repaired": _repaired,
    "undo": _undo,
    "wait": _wait,
    "close": _close,
    "note": _note,
    "meter": _meter,
    "correct": _correct,
}
ANY_TIME = ("note", "meter", "correct")
"""Mean the same whatever came in between."""


def _circuit(context: Context, said: Said) -> str:
    """A template's name, or the path of a circuit file of the folder; empty where none is named."""
    name = _text(said, "circuit")
    return str(circuit_source(context.folder, name)) if name and name not in template_names() else name


def _place(said: Said) -> dict[str, str | None]:
    given = said.get("place")
    if given is None:
        return {}
    if not isinstance(given, dict):
        raise UsageError("the place must be named by its keys")
    return {key: _text(given, key) or None for key in PLACE}


def _text(said: Said, key: str) -> str:
    value = said.get(key, "")
    if not isinstance(value, str) or len(value) > LONGEST:
        raise UsageError(f"'{key}' must be a text of at most {LONGEST} characters")
    return value.strip()


def _number(said: Said, key: str) -> float | None:
    typed = _text(said, key)
    return typed_number(typed) if typed else None
