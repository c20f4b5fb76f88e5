"""What each reading says for and against a hypothesis, in sentences, and which readings contradict each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.fit import BAD_READING, bad_density
from meterlog.circuit.measured import UNITS, Measurement, Tried
from meterlog.circuit.ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.posterior import Posterior, posterior
from meterlog.circuit.predict import Network
from meterlog.circuit.tried import runs

MOST_SAID = 4
TELLING = 2.0
"""A reading speaks for a hypothesis when it is this many times as likely under it as under the others together."""

UNEXPLAINED = 0.8
"""From this probability of being a bad one on, a reading that contradicts no other is named too."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Case:
    """A circuit with its readings and what they made of it."""

    network: Network
    known: Posterior
    measured: Sequence[Measurement]
    tried: Sequence[Tried]


def evidence(case: Case, member: NDArray[np.bool_]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Sentences for and against the cells in `member` (shape (K,)), the most telling first."""
    said: list[tuple[float, str]] = []
    weight, fit = case.known.weight, case.known.fit
    for slot, k in enumerate(case.known.used):
        m = case.measured[k]
        density = _density(case, m, slot)
        like = _without(weight, density, member)
        unlike = _without(weight, density, ~member)
        if like is None or unlike is None:
            continue
        ratio = math.log(max(like[0], 1e-300) / max(unlike[0], 1e-300))
        expected = [_range(m, fit.expected[:, slot], shares) for shares in (like[1], unlike[1])]
        said.append((ratio, f"{m}: {expected[0]} expected if it were this, {expected[1]} if not"))
    for one in case.tried:
        if one.replaced:
            continue
        chance = runs(case.network, one) if one.runs else 1 - runs(case.network, one)
        like, unlike = _without(weight, chance, member), _without(weight, chance, ~member)
        if like and unlike:
            said.append(
                (math.log(like[0] / unlike[0]), f"{one}: {like[0]:.0%} likely if it were this, {unlike[0]:.0%} if not")
            )
    said.sort(key=lambda entry: -abs(entry[0]))
    told = math.log(TELLING)
    return tuple(s for r, s in said if r > told)[:MOST_SAID], tuple(s for r, s in said if r < -told)[:MOST_SAID]


def contradictions(case: Case) -> list[str]:
    """Sentences about readings that cannot all be right."""
    found: list[str] = []
    for a, m in enumerate(case.measured):
        for other in case.measured[:a]:
            if _same_place(m, other) and _apart(m, other):
                found.append(
                    f"{other.shown} and {m.shown} were both read {m.place}: not at one time can both be right; measure"
                    " again, and watch for a contact that comes and goes"
                )
    for k in np.flatnonzero(case.known.bad > 0.5):
        m, partner = case.measured[int(k)], _partner(case, int(k))
        alone = posterior(case.network, [m], [], 0.0).bad[0]
        if any(m.place in s for s in found):
            continue
        if partner is None or case.known.bad[k] < 2 * alone:
            if case.known.bad[k] > UNEXPLAINED:
                found.append(
                    f"{m} fits nothing that can be wrong in this circuit: measure it again; if it stays, the vehicle is"
                    " not wired as the circuit file says, or a contact never opens"
                )
            continue
        expected = _expected_without(case, int(k))
        found.append(
            f"{m} and {case.measured[partner]} can't both be right{expected}: measure this again, {m.place}, and prove"
            " the probe's contact first"
        )
    return found


def _density(case: Case, m: Measurement, slot: int) -> Array:
    """How likely each cell makes a reading, given the others."""
    fit = case.known.fit
    z = fit.alone_residual[:, slot] / fit.alone_spread[:, slot]
    good = np.exp(-0.5 * np.minimum(z**2, 1400)) / (fit.alone_spread[:, slot] * math.sqrt(2 * math.pi))
    return np.asarray((1 - BAD_READING) * good + BAD_READING * bad_density(m, case.network.circuit))


def _without(weight: Array, density: Array, member: NDArray[np.bool_]) -> tuple[float, Array] | None:
    """How likely the members make a reading before it is known, and their shares then (the reading taken out of their
    weights by division); None where they have no weight."""
    before = np.where(member, weight / np.maximum(density, 1e-300), 0.0)
    total = float(before.sum())
    if not total > 0 or not math.isfinite(total):
        return None
    return float(weight[member].sum()) / total, before / total


def _shown(m: Measurement, y: float) -> str:
    if m.quantity != "resistance":
        return f"{y:.1f} {UNITS[m.quantity]}" if abs(y) >= 0.05 else f"0 {UNITS[m.quantity]}"
    ohm = max(math.exp(min(y, 30)) - OHM_OFFSET, 0.0)
    return "open" if ohm > 0.1 * OVERLOAD_OHM else f"{ohm:.2g} ohm"


def _range(m: Measurement, expected: Array, shares: Array) -> str:
    """The middle four fifths of what is expected, in words."""
    order = np.argsort(expected)
    below = np.cumsum(shares[order])
    low, high = (_shown(m, float(expected[order][np.searchsorted(below, q)])) for q in (0.1, 0.9))
    return low if low == high else f"{low} to {high}"


def _same_place(a: Measurement, b: Measurement) -> bool:
    return (a.quantity, a.at, a.to, a.state, a.load) == (b.quantity, b.at, b.to, b.state, b.load)


def _apart(a: Measurement, b: Measurement) -> bool:
    if math.isinf(a.value) or math.isinf(b.value):
        return a.value != b.value
    return abs(a.value - b.value) > max(0.5, 0.15 * max(abs(a.value), abs(b.value)))


def _partner(case: Case, k: int) -> int | None:
    """The reading most tied to reading k in the best cell; None where there is no other."""
    others = [j for j in range(len(case.measured)) if j != k]
    if not others:
        return None
    if k not in case.known.used:
        m = case.measured[k]
        same = [j for j in others if case.measured[j].state == m.state]
        return (same or others)[0]
    used = list(case.known.used)
    slot = used.index(k)
    precision = case.known.fit.precision[int(np.argmax(case.known.weight))]
    tied = np.abs(precision[slot]) / np.sqrt(np.diagonal(precision))
    tied[slot] = -1.0
    return used[int(np.argmax(tied))] if len(used) > 1 else None


def _expected_without(case: Case, k: int) -> str:
    if k not in case.known.used:
        return ""
    slot = case.known.used.index(k)
    return (
        f" (the others make it {_shown(case.measured[k], float(case.known.weight @ case.known.fit.expected[:, slot]))})"
    )
