"""Finds readings that contradict each other or fit nothing, and says so in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from meterlog.circuit.evidence.for_and_against import Case, Suspect, likeliest, members_expect
from meterlog.circuit.evidence.repeats import apart, same_place
from meterlog.circuit.probability.posterior import posterior
from meterlog.circuit.readings.measurement import Measurement
from meterlog.circuit.readings.suspicious_readings import suspicious

UNEXPLAINED = 0.8
"""From this probability of being a bad one on, a reading that contradicts no other is named too. A guess."""
EXPLAINED = 0.05
"""A single fault of this probability that takes a reading as it is explains it: it contradicts nothing then. A
guess."""
NARROW = 0.15
"""An expectation is told where its band is no wider than this share of the system voltage. A guess."""
COMES_AND_GOES, SURELY = 0.5, 0.8
"""From these probabilities on that a contact comes and goes, that explains two values of one place, and also a reading
that differs from those of other places: nothing contradicts then. Guesses."""
QUANTILE = 3.09
"""Standard deviations of the normal distribution's 99.9 % quantile."""
MORE_THAN_ALONE = 2.0
"""A reading contradicts others when they make it this many times as likely a bad one as it is by itself. A guess."""


def contradictions(case: Case, suspects: Sequence[Suspect], on: str) -> list[str]:
    """Say which readings are suspicious by themselves, and which cannot all be right; `on` is what
    `stays_on` says of them."""
    circuit = case.network.circuit
    found = {sentence: None for m in case.measured if (sentence := suspicious(m, circuit))}
    if on:
        found[on] = None
    comes = float(case.known.comes_and_goes.sum())
    twice = list(_read_twice(case.measured))
    if comes >= SURELY or (twice and comes >= COMES_AND_GOES):
        return list(found)
    found |= dict.fromkeys(twice)
    doubted = np.flatnonzero(case.known.bad > 0.5)
    if not len(doubted) or _all_explained(case):
        return list(found)
    for k in doubted:
        m = case.measured[int(k)]
        told = any(m.place in sentence for sentence in found) or (on and m.state == "off")
        if told or _explained(case, int(k), suspects):
            continue
        if sentence := _doubted(case, int(k), suspects):
            found[sentence] = None
    return list(found)


def _read_twice(measured: Sequence[Measurement]) -> Iterator[str]:
    """A sentence for each place that was read twice with results apart: its highest and its lowest."""
    for a, m in enumerate(measured):
        here = [other for other in measured if same_place(m, other)]
        first, last = max(here, key=lambda one: one.value), min(here, key=lambda one: one.value)
        if here[0] is measured[a] and apart(first, last):
            yield (
                f"{first.shown} and {last.shown} were both read {m.place}: they cannot both be right at the same time;"
                " measure again, and watch for a contact that comes and goes"
            )


def _all_explained(case: Case) -> bool:
    """Tell whether some fault, or two, take all readings as they are, however rare they may be."""
    fit = case.known.fit
    every = range(len(fit.y))
    return bool(fit.squared(every).min() <= _highest_usual(len(every))) and not any(map(fit.beyond, every))


def _together(case: Case, a: int, b: int) -> float:
    """Return how far two used readings (rows of the fit) are, at the least, from what any fault makes of both:
    chi-squared."""
    fit = case.known.fit
    if fit.beyond(a) or fit.beyond(b):
        return math.inf
    return float(fit.squared([a, b]).min())


def _highest_usual(count: int) -> float:
    """The 99.9 % quantile of chi-squared with `count` degrees of freedom (Wilson and Hilferty's approximation)."""
    share = 2 / (9 * count)
    return float(count * (1 - share + QUANTILE * math.sqrt(share)) ** 3)


def _explained(case: Case, k: int, suspects: Sequence[Suspect]) -> bool:
    """Tell whether one part at fault, with a chance worth naming, takes a reading as it is; or whether ohms read good
    because a few strands or a film carry the meter's current."""
    if k not in case.known.used:
        return False
    slot, weight, cells = case.known.used.index(k), case.known.weight, case.network.cells
    takes = (case.known.bad_in[:, slot] < 0.5) & (cells.part[:, 1] < 0)
    if any(float(weight[s.member & takes].sum()) >= EXPLAINED for s in suspects):
        return True
    return float(weight[case.known.fit.log_reads_good[:, slot] > 0].sum()) > 0.5


def _doubted(case: Case, k: int, suspects: Sequence[Suspect]) -> str:
    """The sentence about a reading that is likely a bad one; empty where nothing is worth saying."""
    m, partner = case.measured[k], _partner(case, k)
    # a reading that is as doubtful by itself contradicts nothing
    alone = posterior(case.network, [m], [], 0.0).bad[0]
    if partner is None or case.known.bad[k] < MORE_THAN_ALONE * alone:
        if case.known.bad[k] <= UNEXPLAINED:
            return ""
        return (
            f"{m} fits nothing that can be wrong in this circuit: measure it again; if it stays, the vehicle is not"
            " wired as the circuit file says"
        )
    return (
        f"{m} and {case.measured[partner]} cannot both be right at the same time{_expected(case, k, suspects)}:"
        f" measure this again, {m.place}, and prove the probe's contact first"
    )


def _partner(case: Case, k: int) -> int | None:
    """The reading that no fault explains together with reading k; None where each can be right beside it."""
    others = [j for j in range(len(case.measured)) if j != k]
    if not others:
        return None
    if k not in case.known.used:
        m = case.measured[k]
        same = [j for j in others if case.measured[j].state == m.state]
        return (same or others)[0]
    used = list(case.known.used)
    slot = used.index(k)
    apart_by = {other: _together(case, slot, row) for row, other in enumerate(used) if row != slot}
    worst = max(apart_by, key=lambda other: apart_by[other], default=None)
    return worst if worst is not None and apart_by[worst] > _highest_usual(2) else None


def _expected(case: Case, k: int, suspects: Sequence[Suspect]) -> str:
    """Say what a reading should have been if the likeliest suspect is at fault; empty if that could be almost
    anything."""
    best = likeliest(case.known.weight, suspects)
    if best is None or k not in case.known.used:
        return ""
    band, m = members_expect(case, case.known.used.index(k), best), case.measured[k]
    wide = NARROW if m.quantity == "lamp" else NARROW * case.network.circuit.system_v
    if band is None or (m.quantity != "resistance" and band[1] - band[0] > wide):
        return ""
    return f" ({m.span(*band)} expected {best.supposed})"
