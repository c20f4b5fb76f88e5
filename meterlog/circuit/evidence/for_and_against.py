"""Says in sentences what each reading proves for and against a hypothesis, compared with its best rival."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.evidence.repeats import apart, same_place
from meterlog.circuit.faults.cells import interrupted, likeliest_healthy
from meterlog.circuit.probability.bad_readings import BAD_READING
from meterlog.circuit.probability.facts import chance_of, comes_and_goes_log
from meterlog.circuit.probability.posterior import Posterior
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.probability.trials import outcome
from meterlog.circuit.readings.measurement import UNITS, Measurement
from meterlog.circuit.readings.observed import Observed
from meterlog.circuit.readings.trial import Told
from meterlog.text.figures import percent

MOST_SAID = 4
"""Sentences for a hypothesis, and against it: more are not read. A guess."""
TELLING = 2.0
"""A reading speaks for a hypothesis when it is this many times as likely under it as under its best rival. A guess."""
WIDER = 1.5
"""Ratio of widths. Where a reading lies in both expected bands, it is told only if the rival's is this much wider. A
guess."""
_STEPS = (-1.6, -0.8, 0.0, 0.8, 1.6)
_STEP_SHARES = (0.09, 0.24, 0.34, 0.24, 0.09)
"""A normal distribution in five steps (standard deviations) with their shares, for the quantiles of a mixture."""
BAND = (0.05, 0.95)
"""The quantiles between which an expected reading is told."""
WORTH_SUMMING = 1e-4
"""Cells below this share of the likeliest one are left out of a band."""
OPEN_FROM = 0.1
"""An expected resistance from this share of the overload's on is told as 'open'. A guess."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Case:
    """A circuit with its readings and what they made of it."""

    network: Network
    known: Posterior
    measured: Sequence[Measurement]
    tried: Sequence[Told]


@dataclass(frozen=True, slots=True)
class Suspect:
    """A possible fault: a part or a command by its id, or nothing at all (an empty name).

    Attributes:
        name: the id.
        member: its cells, shape (K,), alone or with another part.
    """

    name: str
    member: NDArray[np.bool_]

    @property
    def supposed(self) -> str:
        """The condition, in words."""
        return f"if {self.name} is at fault" if self.name else "if nothing is wrong"


def evidence(case: Case, this: Suspect, suspects: Sequence[Suspect]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Sentences for and against a hypothesis, the most telling first."""
    others = [Suspect(s.name, s.member & ~this.member) for s in suspects if s.name != this.name]
    rival = likeliest(case.known.weight, others)
    if rival is None:
        return (), ()
    this = _in_its_likeliest_way(case, this)
    said = [
        *(_of_reading(case, slot, this, rival, others) for slot in range(len(case.known.used))),
        *(_of_trial(case, one, this, others) for one in case.tried if _worth_telling(one)),
    ]
    told = sorted((entry for entry in said if entry is not None), key=lambda entry: -abs(entry[0]))
    least = math.log(TELLING)
    return tuple(s for r, s in told if r > least)[:MOST_SAID], tuple(s for r, s in told if r < -least)[:MOST_SAID]


def comes_and_goes_evidence(case: Case, k: int) -> tuple[str, ...]:
    """Sentences for 'part k, or from n on the command of k - n, comes and goes': one place read twice, where that makes
    the difference."""
    cells = case.network.cells
    good = likeliest_healthy(cells, case.known.weight)
    states = [good, interrupted(cells, k, good)]
    moved = [one for one in case.tried if isinstance(one, Observed) and comes_and_goes_log(case.network, one)[k] > 0]
    found: dict[str, None] = {f"{one}": None for one in moved}
    for a, m in enumerate(case.measured):
        for other in case.measured[:a]:
            if same_place(m, other) and apart(m, other):
                whole, open_ = (_read(m, float(y)) for y in case.network.predict(m).mean[states])
                if abs(whole - open_) > abs(m.value - other.value) / 2:
                    found[
                        f"{other.shown} and {m.shown} were both read {m.place}: {m.span(whole, whole)} expected while"
                        f" its contact is good, {m.span(open_, open_)} while it is open"
                    ] = None
    return tuple(found)[:MOST_SAID]


def likeliest(weight: Array, suspects: Sequence[Suspect]) -> Suspect | None:
    """The suspect with the most weight (shape (K,)); None where none has any."""
    best = max(suspects, key=lambda s: float(weight[s.member].sum()), default=None)
    return best if best is not None and weight[best.member].sum() > 0 else None


def _in_its_likeliest_way(case: Case, who: Suspect) -> Suspect:
    """A suspect with its likeliest fault alone: what `the fault named makes expected` is about."""
    cells, weight = case.network.cells, case.known.weight
    single = who.member & (cells.part[:, 1] < 0)
    ways = [
        single & (cells.fault == fault) & ((cells.share > 1) == more)
        for fault in np.unique(cells.fault[single])
        for more in (False, True)
    ]
    best = max(ways, key=lambda way: float(weight[way].sum()), default=who.member)
    return Suspect(who.name, best) if weight[best].sum() > 0 else who


def _of_reading(
    case: Case, slot: int, this: Suspect, rival: Suspect, others: Sequence[Suspect]
) -> tuple[float, str] | None:
    """Weigh a reading for or against a hypothesis: the log of how many times as likely it makes it, and the sentence;
    None if it says nothing.

    It speaks for a hypothesis beside the rival that would be the likeliest without it, and only from inside of what the
    hypothesis makes expected; against it beside the likeliest rival, and only from outside of it and inside of that.
    """
    m, weight = case.measured[case.known.used[slot]], case.known.weight
    density = _density(case, slot)
    like = _without(weight, density, this.member)
    if like is None:
        return None
    band = expected_band(case, slot, like[1])
    shown = _shown(m, float(case.known.fit.y[slot]))
    inside = band[0] <= shown[1] and shown[0] <= band[1]
    beside = likeliest(weight / np.maximum(density, 1e-300), others) if inside else rival
    beside = None if beside is None else _in_its_likeliest_way(case, beside)
    unlike = None if beside is None else _without(weight, density, beside.member)
    if beside is None or unlike is None:
        return None
    ratio = math.log(max(like[0], 1e-300) / max(unlike[0], 1e-300))
    other = expected_band(case, slot, unlike[1])
    if inside != (ratio > 0) or not _differs(band, other, shown, inside=inside):
        return None
    own_words, other_words = m.span(*band), m.span(*other)
    if own_words == other_words:
        return None
    return ratio, f"{m}: {own_words} expected if this is at fault, {other_words} {beside.supposed}"


def _shown(m: Measurement, y: float) -> tuple[float, float]:
    """Return what was read, from the least to the most that it may be: a lamp's word stands for a range."""
    return m.bulb.range(m.value) if m.quantity == "lamp" else (_read(m, y), _read(m, y))


def _differs(own: tuple[float, float], other: tuple[float, float], shown: tuple[float, float], *, inside: bool) -> bool:
    """Tell whether a reader would see two bands, one of which holds the reading, as different."""
    in_other = other[0] <= shown[1] and shown[0] <= other[1]
    if not inside:
        return in_other
    return not in_other or other[1] - other[0] > WIDER * (own[1] - own[0])


def _worth_telling(one: Told) -> bool:
    """A replaced part is told apart only where a fuse blew: else what came of it says what was replaced."""
    return isinstance(one, Observed) or not one.replaced or one.result == "blew"


def _of_trial(case: Case, one: Told, this: Suspect, others: Sequence[Suspect]) -> tuple[float, str] | None:
    chance = chance_of(case.network, one) if isinstance(one, Observed) else outcome(case.network, one)
    beside = likeliest(case.known.weight / np.maximum(chance, 1e-300), others)
    like = _without(case.known.weight, chance, this.member)
    unlike = None if beside is None else _without(case.known.weight, chance, beside.member)
    if beside is None or not like or not unlike or min(like[0], unlike[0]) <= 0:
        return None
    ratio = math.log(like[0] / unlike[0])
    return ratio, f"{one}: {percent(like[0])} likely if this is at fault, {percent(unlike[0])} {beside.supposed}"


def expected_band(case: Case, slot: int, shares: Array) -> tuple[float, float]:
    """The middle nine tenths of what some cells (`shares`, shape (K,), sums to 1) make expected of a used reading given
    the others, as it would be read; never beyond the volts that any cell can show."""
    fit, given, m = case.known.fit, case.known.given_others, case.measured[case.known.used[slot]]
    rows = np.flatnonzero(shares > WORTH_SUMMING * shares.max())
    marks = given.expected[rows, slot][:, None] + np.array(_STEPS) * given.spread[rows, slot][:, None]
    weights = shares[rows][:, None] * np.array(_STEP_SHARES)
    order = np.argsort(marks, axis=None)
    below = np.cumsum(weights.ravel()[order])
    edges = marks.ravel()[order][np.searchsorted(below, np.array(BAND) * below[-1])]
    most = fit.mean[:, slot].max() if UNITS[m.quantity] in ("V", "") else np.inf
    low, high = np.clip(edges, fit.mean[:, slot].min(), most)
    return _read(m, float(low)), _read(m, float(high))


def members_expect(case: Case, slot: int, who: Suspect) -> tuple[float, float] | None:
    """The band that a suspect makes expected of a used reading given the others; None if it has no weight."""
    found = _without(case.known.weight, _density(case, slot), who.member)
    return None if found is None else expected_band(case, slot, found[1])


def _density(case: Case, slot: int) -> Array:
    """The likelihood that each cell gives a reading, knowing the others; shape (K,)."""
    residual, spread = case.known.given_others.residual[:, slot], case.known.given_others.spread[:, slot]
    good = np.exp(-0.5 * np.minimum((residual / spread) ** 2, 1400)) / (spread * math.sqrt(2 * math.pi))
    return np.asarray((1 - BAD_READING) * good + BAD_READING * math.exp(case.known.fit.log_bad[slot]))


def _without(weight: Array, density: Array, member: NDArray[np.bool_]) -> tuple[float, Array] | None:
    """The likelihood that the members give a reading before it is known, and their shares then (the reading is taken
    out of their weights by division); None if they have no weight."""
    before = np.where(member, weight / np.maximum(density, 1e-300), 0.0)
    total = float(before.sum())
    if not total > 0 or not math.isfinite(total):
        return None
    return float(weight[member].sum()) / total, before / total


def _read(m: Measurement, y: float) -> float:
    """A value on the scale of `predict` as it would be read, as far as a prediction is worth: ohms to two digits, volts
    and amperes to tenths, below one to hundredths; inf is open."""
    if m.quantity != "resistance":
        return round(y, 2 if abs(y) < 1 else 1) + 0.0
    ohm = max(math.exp(min(y, 30)) - OHM_OFFSET, 0.0)
    return math.inf if ohm > OPEN_FROM * OVERLOAD_OHM else float(f"{ohm:.2g}")
