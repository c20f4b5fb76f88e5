"""The job's part of the report: complaint, what was found and why, what was put right, before and after in figures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from meterlog.cautions import sentence
from meterlog.circuit.evidence.repeats import same_place
from meterlog.circuit.hypotheses import Hypothesis
from meterlog.circuit.readings.measurement import Measurement
from meterlog.errors import MeterlogError, UsageError
from meterlog.job.bill import Bill, bill
from meterlog.job.case import JobCase
from meterlog.job.job import Step
from meterlog.job.proof import proof
from meterlog.job.reading_again import Again
from meterlog.job.status import Known
from meterlog.loaded import Loaded, load
from meterlog.report.before_after import Line, line
from meterlog.report.circuit import CircuitPart, circuit_part
from meterlog.report.pictures import picture_uri
from meterlog.settings import Settings
from meterlog.text.figures import percent, seconds
from meterlog.text.ids import plain

_MARK = {"proved": "within", "not proved": "outside", "not yet": "cannot tell"}
"""The mark that stands for each verdict of a proof."""
_MARK_OF_READING = {
    "sound": "within",
    "better": "cannot tell",
    "outside": "outside",
    "cannot tell": "cannot tell",
    "not read": "cannot tell",
}


@dataclass(frozen=True, slots=True)
class Repair:
    """One repair, in words; empty where nobody said."""

    part: str
    price: str
    minutes: str
    note: str


@dataclass(frozen=True, slots=True)
class Figures:
    """A deciding place before and after, in words, with its mark."""

    place: str
    before: str
    after: str
    sound: str
    mark: str
    verdict: str


@dataclass(frozen=True, slots=True)
class Photo:
    """A photo, as a `data:` address; empty where its file cannot be read any more."""

    picture: str
    caption: str


@dataclass(frozen=True, slots=True)
class JobPart:
    """A job as a customer reads it.

    Attributes:
        complaint: what the driver says.
        details: (name, value): vehicle, customer, odometer, ...
        begun, done: when its first and last step were entered, ISO 8601; empty where nothing was.
        found: what was wrong, or the verdict so far, in one sentence.
        why: why it was that part: its chance, and what spoke for it.
        excluded: parts that the readings exclude.
        picture: the deciding readings beside what a sound circuit shows.
        repairs: in their order.
        cost: minutes and prices together, in words.
        proof: the verdict of the proof; empty where nothing was repaired.
        mark: the mark that stands for it.
        closed: the reason for which a person closed it; empty where it is not closed.
        waiting: what it waits for.
        figures: before and after.
        observed: what was seen or heard.
        readings: every reading: when, and in words with how.
        skipped: places that were refused or cannot be reached.
        untold: parts that the readings do not tell about.
        cautions: for the one who drives or works on it next.
        photos: with captions.
    """

    complaint: str
    details: list[tuple[str, str]]
    begun: str
    done: str
    found: str
    why: list[str]
    excluded: list[str]
    picture: list[Line]
    repairs: list[Repair]
    cost: str
    proof: str
    mark: str
    closed: str
    waiting: str
    figures: list[Figures]
    observed: list[str]
    readings: list[tuple[str, str]]
    skipped: list[str]
    untold: list[str]
    cautions: list[str]
    photos: list[Photo]


def job_part(now: Known, circuit: CircuitPart | None, settings: Settings) -> JobPart:
    """Put a job into words.

    Args:
        now: where it stands.
        circuit: its circuit's part; None while no circuit is chosen.
        settings: hourly rate and currency.
    """
    job = now.job
    repairs = job.of("repaired")
    together = bill(repairs, hourly_rate=settings.hourly_rate, currency=settings.currency)
    deciding = _deciding(now)
    return JobPart(
        complaint=job.complaint,
        details=[(key.replace("_", " "), value) for key, value in _details(now).items() if value],
        begun=job.steps[0].when if job.steps else "",
        done=job.steps[-1].when if job.steps else "",
        found=_found(now),
        why=_why(now, deciding),
        excluded=circuit.excluded if circuit else [],
        picture=[line(one) for one in deciding],
        repairs=[_repair(step, together) for step in repairs],
        cost=together.words,
        proof=now.proof.verdict if repairs else "",
        mark=_MARK[now.proof.verdict],
        closed=job.closed,
        waiting=job.waiting,
        figures=[_figures(one) for one in deciding],
        observed=[f"{key.replace('_', ' ')}: {answer}" for key, answer in job.observed.items()],
        readings=_readings(now),
        skipped=list(dict.fromkeys(_refused(step) for step in job.of("skipped"))),
        untold=circuit.rare if circuit else [],
        cautions=list(now.diagnosis.repair_cautions) if now.diagnosis else [],
        photos=[_photo(now, step) for step in job.of("photo")],
    )


def recorded_both(now: Known) -> tuple[str, str] | None:
    """Name the recordings of the reading that decided, before the repair and after it; None without one of both."""
    if not now.proof.readings or now.case is None:
        return None
    place = now.proof.readings[0].before
    before, after = (_recording_of(now.case, place, steps) for steps in (now.job.before, now.job.after))
    return (before, after) if before and after else None


def _recording_of(case: JobCase, place: Measurement, steps: Sequence[Step]) -> str:
    """The last session that a reading of some place came from; empty where there is none."""
    measured = [step for step in steps if step.kind == "measured" and "session" in step.values]
    names = [str(step.values["session"]) for step in measured if same_place(case.measurement(step.values), place)]
    return names[-1] if names else ""


def job_sessions(now: Known) -> tuple[list[Loaded], list[str]]:
    """The sessions of a job's readings, and a sentence for each that cannot be read."""
    found, missing = [], []
    for name in now.job.sessions:
        try:
            found.append(load(str(now.job.folder / name)))
        except MeterlogError as error:
            missing.append(str(error))
    return found, missing


def job_circuit(now: Known) -> CircuitPart | None:
    """The circuit's part, from the readings before the repair; None while no circuit is chosen."""
    if now.case is None:
        return None
    steps = now.job.before if now.job.repaired else now.job.steps
    return circuit_part(now.case.diagnoser, *now.case.told(steps))


def _details(now: Known) -> dict[str, str]:
    return {"vehicle": now.job.vehicle, **now.job.details, "state": now.state}


def _suspect(now: Known) -> Hypothesis | None:
    """Return what the repair, or else the diagnosis, is about."""
    known = now.diagnosis.hypotheses if now.diagnosis else ()
    repaired = [h for h in known if h.part == now.job.repaired]
    return next(iter([*repaired, *known]), None)


def _found(now: Known) -> str:
    """Return what was wrong once that is proved; until then what the diagnosis says."""
    first = _suspect(now)
    if now.state != "proved" or first is None or first.part != now.job.repaired:
        return plain(sentence(now.verdict))
    return plain(sentence(f"{first.part} was at fault: it {first.words}"))


def _why(now: Known, deciding: Sequence[Again]) -> list[str]:
    first = _suspect(now)
    if first is None:
        return []
    when = " before the repair" if now.job.repaired else ""
    chance = f"{plain(first.part)} {first.words}: {percent(first.probability)} by what was read and seen{when}"
    outside = [
        f"{plain(one.place)}: {one.before_words}, where a sound circuit shows {one.sound_words}"
        for one in deciding
        if not math.isnan(one.before.value)
    ]
    return [chance, *outside, *(plain(line) for line in first.speaks_for)]


def _deciding(now: Known) -> tuple[Again, ...]:
    """The deciding readings; before a repair those that would have to change."""
    first = _suspect(now)
    if now.job.repaired or now.case is None or first is None:
        return now.proof.readings
    told = now.case.told(now.job.steps)
    found = proof(now.case, told, [], first.part, loose=False, skipped=set())
    return tuple(one for one in found.readings if not math.isnan(one.before.value))


def _refused(step: Step) -> str:
    return plain(str(step.values.get("place", step.values["at"])))


def _figures(one: Again) -> Figures:
    return Figures(
        plain(one.place), one.before_words, one.after_words, one.sound_words, _MARK_OF_READING[one.verdict], one.verdict
    )


def _repair(step: Step, together: Bill) -> Repair:
    price, minutes = step.values.get("price"), step.values.get("minutes")
    return Repair(
        part=plain(str(step.values["part"])),
        price=together.money(price) if isinstance(price, int | float) else "",
        minutes=f"{minutes:g} min" if isinstance(minutes, int | float) else "",
        note=str(step.values.get("note", "")),
    )


def _photo(now: Known, step: Step) -> Photo:
    name, caption = str(step.values["file"]), str(step.values.get("caption", ""))
    try:
        return Photo(picture_uri(now.job.folder / Path(name).name), caption or name)
    except UsageError as error:
        return Photo("", f"{caption or name}: {error}")


def _readings(now: Known) -> list[tuple[str, str]]:
    if now.case is None:
        return []
    rows: list[tuple[Step, Measurement]] = [
        (step, now.case.measurement(step.values)) for step in now.job.of("measured")
    ]
    return [(step.when, plain(str(m)) + _from(step)) for step, m in rows]


def _from(step: Step) -> str:
    session, time_s = step.values.get("session"), step.values.get("time_s")
    if not session:
        return ", typed"
    return f", recorded in {session}" + (f" at {seconds(float(time_s))}" if isinstance(time_s, int | float) else "")
