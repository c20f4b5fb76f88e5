"""The proof of a repair: the readings that decided, taken again, held against what a sound circuit shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from meterlog.circuit.evidence.for_and_against import Case, apart, expected_band, members_expect, same_place
from meterlog.circuit.faults.fault_cells import first_healthy
from meterlog.circuit.readings.measurement import Measurement, Told
from meterlog.job.case import JobCase

MOST_DECIDING = 2
"""Readings that are taken again: the two that lay furthest outside. A choice: more are not worth the way."""
LEAST_OF_FURTHEST = 0.3
"""Least share: what lay outside by less than this share of the furthest did not decide. A guess."""
TIMES_FOR_LOOSE = 3
"""A contact that came and went must read sound so often: one good reading says nothing about it. A choice."""

Verdict = Literal["proved", "not proved", "not yet"]


@dataclass(frozen=True, slots=True)
class Proof:
    """Says how a repair stands.

    Attributes:
        verdict: `not yet` while a deciding reading was not taken again.
        before: the value that decided most, in its unit; None where none lay outside.
        after: the same place now; None where it was not read again.
        sentences: one a deciding reading.
        next: the deciding readings that are still to be taken again.
    """

    verdict: Verdict
    before: float | None
    after: float | None
    sentences: tuple[str, ...]
    next: tuple[Measurement, ...] = ()

    @property
    def text(self) -> str:
        """All sentences as one."""
        return "; ".join(self.sentences)

    def as_json(self) -> dict[str, object]:
        """The object of `job status --json`."""
        return {
            "verdict": self.verdict,
            "before": _finite(self.before),
            "after": _finite(self.after),
            "text": self.text,
        }


NOTHING = Proof("not yet", None, None, ("nothing is repaired yet",))


def sound_band(case: JobCase, m: Measurement) -> tuple[float, float]:
    """Return what a circuit without a fault shows in that place: the middle nine tenths, in the reading's unit."""
    m = replace(m, value=1.0)  # what is expected alone does not depend on what was read
    known = case.diagnoser.weigh([m])
    shares = np.zeros(len(case.diagnoser.cells.prior))
    shares[first_healthy(case.diagnoser.cells)] = 1.0
    return expected_band(Case(case.diagnoser.network, known, [m], []), 0, shares)


def deciding(case: JobCase, before: Sequence[Measurement], told: Sequence[Told], part: str) -> list[Measurement]:
    """The readings that lay outside of what a sound circuit shows and inside of what the part's fault makes expected,
    furthest outside first, each place once."""
    if not before:
        return []
    known = case.diagnoser.weigh(before, told)
    weighed = Case(case.diagnoser.network, known, before, told)
    suspect = next((one for one in case.diagnoser.suspects if one.name == part), None)
    found: dict[int, float] = {}
    for slot, k in enumerate(known.used):
        m = before[k]
        beyond = _beyond(m, sound_band(case, m))
        band = members_expect(weighed, slot, suspect) if suspect is not None else None
        explained = band is None or _beyond(m, band) == 0
        if beyond > 0 and explained and not any(same_place(m, before[other]) for other in found):
            found[k] = beyond
    least = LEAST_OF_FURTHEST * max(found.values(), default=0.0)
    ranked = sorted((k for k in found if found[k] >= least), key=lambda k: -found[k])
    return [before[k] for k in ranked[:MOST_DECIDING]]


def proof(
    case: JobCase,
    before: tuple[Sequence[Measurement], Sequence[Told]],
    after: Sequence[Measurement],
    part: str,
    *,
    loose: bool,
    skipped: set[str],
) -> Proof:
    """Hold the readings after a repair against a sound circuit.

    Args:
        case: the circuit.
        before: readings and what else was told before the repair, that it was decided by.
        after: readings since.
        part: what was repaired.
        loose: the fault was a contact that comes and goes.
        skipped: places that cannot be reached any more.
    """
    wanted = [m for m in deciding(case, *before, part) if m.place not in skipped]
    if not wanted:
        wanted = [m for m in _at_the_load(case) if m.place not in skipped]
    times = TIMES_FOR_LOOSE if loose else 1
    sentences, left, bad = [], [], False
    for m in wanted:
        again = [one for one in after if same_place(m, one)]
        outside = [one for one in again if _beyond(one, sound_band(case, one)) > 0]
        bad = bad or bool(outside)
        if len(again) < times and not outside:
            left.append(m)
        sentences.append(_sentence(m, (outside or again)[-1:], sound_band(case, m)))
    first = wanted[0] if wanted else None
    last = [one.value for one in after if first is not None and same_place(first, one)]
    verdict: Verdict = "not proved" if bad else "not yet" if left or not wanted else "proved"
    said = tuple(sentences) or ("no reading that this circuit allows can prove it",)
    value = None if first is None or math.isnan(first.value) else first.value
    return Proof(verdict, value, last[-1] if last else None, said, tuple(left))


def _at_the_load(case: JobCase) -> list[Measurement]:
    """Find where nothing lay outside before: the voltage across the load, while it is switched on."""
    circuit = case.circuit
    load = circuit.parts[circuit.load].id
    state = next((s for s in ("key_on", *circuit.active) if s in circuit.active), "off")
    quantity = "lamp" if case.diagnoser.tool == "lamp" else "voltage"
    return [Measurement(quantity, load, load, state)]


def _beyond(m: Measurement, band: tuple[float, float]) -> float:
    """Return how far a reading lies outside of a band, in widths of what is told apart; 0 inside."""
    low, high = band
    nearest = min(max(m.value, low), high)
    if nearest == m.value:
        return 0.0
    edge = replace(m, value=nearest)
    error = m.error or 0.0
    if not apart(m, edge) and abs(m.value - nearest) <= max(error, high - low):
        return 0.0
    return abs(m.value - nearest) / max(high - low, error, 1e-3) if math.isfinite(m.value + nearest) else math.inf


def _sentence(m: Measurement, again: Sequence[Measurement], band: tuple[float, float]) -> str:
    now = f", {again[0].shown} now" if again else ", not read again yet"
    was = "not read before" if math.isnan(m.value) else f"{m.shown} before"
    sound = m.span(*band)
    return f"{m.quantity.replace('_', ' ')} {m.place}: {was}{now}; a sound circuit shows {sound}"


def _finite(value: float | None) -> float | None:
    return value if value is not None and math.isfinite(value) else None
