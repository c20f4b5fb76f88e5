"""Says a job in a terminal: what is known, the verdict, the next step, the repairs and their proof."""

from __future__ import annotations

from collections.abc import Container, Iterator
from pathlib import Path

from meterlog.circuit.acts import cautions_for
from meterlog.circuit.cost import entered_money, priced_elsewhere
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.bill import bill
from meterlog.job.next_step import Next
from meterlog.job.status import OVER, Status
from meterlog.settings import read_settings
from meterlog.text.figures import percent
from meterlog.text.safe import one_line

_PARTS_SHOWN = 3
"""Parts with their chances; more are not read. A choice."""
_LEAST_SHOWN = 0.02


def status_lines(now: Status, folder: str) -> Iterator[str]:
    """The whole job; `folder` is its name in the commands that are offered."""
    vehicle = f" ({one_line(now.job.vehicle)})" if now.job.vehicle else ""
    yield f"Job, {now.state}: {one_line(now.job.complaint)}{vehicle}"
    if now.job.waiting:
        yield f"  waits for: {one_line(now.job.waiting)}{now.job.due and f', {now.job.due}'}"
    for key, answer in now.job.observed.items():
        yield f"  {one_line(key)} = {one_line(answer)}"
    if now.case is not None:
        for m in now.case.measured(now.job.steps):
            yield f"  {m}"
    for name in now.job.missing_sessions:
        yield f"  note: {one_line(name)} is missing; what was read in it stays"
    for sentence in unpriced(now):
        yield f"  note: {one_line(sentence)}"
    yield from verdict_lines(now)
    yield from repair_lines(now)
    yield from next_lines(now.next, folder, said_before(now))


def unpriced(now: Status) -> Iterator[str]:
    """Say which prices count nowhere: they were entered before the circuit was chosen."""
    if now.case is not None:
        for sentence in priced_elsewhere(entered_money(now.job.details).prices, now.case.circuit):
            yield f"a price in [details] of job.toml counts nowhere: {sentence}"


def verdict_lines(now: Status) -> Iterator[str]:
    """The verdict with its chances."""
    if now.diagnosis is None:
        for name, chance in now.chances.items():
            yield f"  {percent(chance):>9}  {one_line(name)}"
        return
    if now.state in OVER:
        return
    yield f"Verdict: {now.verdict}"
    for h in now.diagnosis.hypotheses[:_PARTS_SHOWN]:
        if h.probability >= _LEAST_SHOWN:
            yield f"  {percent(h.probability):>9}  {h.part}: {h.title}"
    if now.job.rates.by_name:
        yield f"  fault rates: {one_line(now.job.rates.source)}"
    for sentence in now.diagnosis.inconsistent:
        yield f"Check: {sentence}"


def repair_lines(now: Status) -> Iterator[str]:
    """Return what was repaired, and how the proof stands."""
    for step in now.job.of("repaired"):
        yield f"Repaired: {one_line(str(step.values['part']))}"
    settings = read_settings()
    cost = bill(now.job.of("repaired"), hourly_rate=settings.hourly_rate, currency=settings.currency)
    if cost.words:
        yield f"Cost so far: {one_line(cost.words)}"
    if now.job.repaired:
        yield f"Proof: {now.proof.verdict}. {now.proof.text}"


def next_lines(following: Next, folder: str, said: Container[str] = ()) -> Iterator[str]:
    """The next step, with what to mind beyond what was said before."""
    minutes = f" ({following.minutes:.0f} min)" if following.minutes is not None else ""
    yield f"Next{minutes}: {following.for_folder(Path(folder))}"
    if following.measurement is not None:
        yield f"  {what(following.measurement)}"
    if following.attempt is not None:
        yield f"  meterlog job measure {folder} --value {'|'.join(following.attempt.answers)}"
    if following.look is not None:
        answers = "|".join([*following.look.answers, "unknown"])
        yield f"  meterlog job look {folder} {following.look.key}={answers}"
    for seen, meaning in following.outcomes:
        yield f"  {seen}: {meaning}"
    for caution in following.cautions:
        if caution not in said:
            yield f"  mind: {caution}"


def said_before(now: Status) -> frozenset[str]:
    """The cautions of what was measured already: each was said when it came."""
    if now.case is None:
        return frozenset()
    return frozenset(cautions_for(now.case.circuit, now.case.measured(now.job.steps)))


def what(m: Measurement) -> str:
    """The measurement as the readings list it."""
    return f"{m.quantity.replace('_', ' ')} {m.place}"
