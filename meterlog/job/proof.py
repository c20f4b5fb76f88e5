"""The proof of a repair: the readings that decided, taken again, held against what a sound circuit shows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from meterlog.circuit.evidence.for_and_against import Case, expected_band, members_expect
from meterlog.circuit.evidence.repeats import same_place
from meterlog.circuit.faults.cells import first_healthy
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.trial import Told
from meterlog.job.case import JobCase
from meterlog.job.reading_again import Again, Judged, beyond, judged

MOST_DECIDING = 2
"""Readings that are taken again: the two that lay furthest outside. A choice: more are not worth the way."""
LEAST_OF_FURTHEST = 0.3
"""Least share: what lay outside by less than this share of the furthest did not decide. A guess."""
TIMES_FOR_LOOSE = 3
"""A contact that came and went must read sound so often: one good reading says nothing about it. A choice."""
MORE_TIMES = 1
"""A reading that does not settle it is taken so many times more; then only a drive can. A choice."""

_GOOD: tuple[Judged, ...] = ("sound", "better")
Verdict = Literal["proved", "not proved", "not yet"]


@dataclass(frozen=True, slots=True)
class Proof:
    """Says how a repair stands.

    Attributes:
        verdict: `not yet` while a deciding reading was not taken again, or does not settle it.
        readings: one a deciding place, the one that decided most first.
        nothing: the sentence where there is no such place.
    """

    verdict: Verdict
    readings: tuple[Again, ...] = ()
    nothing: str = "no reading that this circuit allows can prove it"

    @property
    def before(self) -> float | None:
        """The value that decided most, in its unit; None where none lay outside, or it was an overload."""
        return _finite(self.readings[0].before.value) if self.readings else None

    @property
    def after(self) -> float | None:
        """The same place now; None where it was not read again, or was an overload."""
        return _finite(self.readings[0].after[-1].value) if self.readings and self.readings[0].after else None

    @property
    def sentences(self) -> tuple[str, ...]:
        """One a deciding reading."""
        return tuple(one.sentence for one in self.readings) or (self.nothing,)

    @property
    def text(self) -> str:
        """All sentences as one."""
        return "; ".join(self.sentences)

    @property
    def next(self) -> tuple[Measurement, ...]:
        """The deciding readings that are still to be taken again."""
        return tuple(
            one.before for one in self.readings if one.verdict not in (*_GOOD, "outside") and not one.exhausted
        )

    def as_json(self) -> dict[str, object]:
        """The object of `job status --json`."""
        return {
            "verdict": self.verdict,
            "before": self.before,
            "after": self.after,
            "text": self.text,
            "readings": [one.as_json() for one in self.readings],
        }


NOTHING = Proof("not yet", nothing="nothing is repaired yet")


def sound_band(case: JobCase, m: Measurement) -> tuple[float, float]:
    """Return what a circuit without a fault shows in that place: the middle nine tenths, in the reading's unit."""
    # of what was read only this counts: ohms through a contact at rest are open, or somebody has bridged it
    m = replace(m, value=m.value if math.isinf(m.value) else 1.0)
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
        outside = beyond(m, sound_band(case, m))
        band = members_expect(weighed, slot, suspect) if suspect is not None else None
        explained = band is None or beyond(m, band) == 0
        if outside > 0 and explained and not any(same_place(m, before[other]) for other in found):
            found[k] = outside
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
    """Hold the readings after a repair against a sound circuit, and against those before.

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
    rows = []
    for m in wanted:
        again = tuple(one for one in after if same_place(m, one))
        bands = [sound_band(case, one) for one in again]
        verdict = judged(case.circuit, m, again, bands, times, times + MORE_TIMES)
        shown = bands[-1] if bands else sound_band(case, m)
        rows.append(Again(case.circuit, m, again, shown, verdict, len(again) >= times + MORE_TIMES))
    if any(one.verdict == "outside" for one in rows):
        return Proof("not proved", tuple(rows))
    return Proof("proved" if rows and all(one.verdict in _GOOD for one in rows) else "not yet", tuple(rows))


def _at_the_load(case: JobCase) -> list[Measurement]:
    """Find where nothing lay outside before: the voltage across the load, while it is switched on."""
    circuit = case.circuit
    load = circuit.parts[circuit.load].id
    state = next((s for s in ("key_on", *circuit.active) if s in circuit.active), "off")
    quantity = "lamp" if case.diagnoser.tool == "lamp" else "voltage"
    return [Measurement(quantity, load, load, state)]


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
