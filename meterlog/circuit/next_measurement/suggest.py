"""Suggests the next measurement: the one with the most expected information per minute.

Expected information is the mutual information between 'which part is it' and the value that would be read: the entropy
of the hypotheses now, less what is expected to remain (Lindley 1956, 'On a measure of the information provided by an
experiment'). Values are binned at the quantiles of what is expected, so that bins are fine where it matters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.acts import cautions_for
from meterlog.circuit.faults.fault_cells import FAULTS, Cells, first_healthy, interrupted
from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.model.circuit import BATTERY_MINUS, Circuit
from meterlog.circuit.next_measurement.candidates import Tool, candidates, minutes_for, times_taken
from meterlog.circuit.probability.fit import BAD_READING, noise
from meterlog.circuit.probability.outside import MODEL_WRONG
from meterlog.circuit.probability.posterior import Posterior
from meterlog.circuit.probability.predict import Network
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.probability.unknowns import LOGISTIC
from meterlog.circuit.readings.measurement import UNITS, Measurement
from meterlog.circuit.words import figure

LEAST_BITS = 0.01
"""Measurements with less expected information are not suggested. A guess."""
SPLITS = 0.97
"""Likelihood of one usual outcome from which, the value that tells most apart is said instead."""
TAKEN_ONCE = "Taken once already: take it again, to prove that the probe made contact."
CELLS_KEPT, WEIGHT_KEPT, TWINS_FROM = 400, 1e-5, 1e-3
"""For speed only so many cells count, none below this share of the likeliest one, and contacts that come and go from
this probability on. Guesses."""
SEEN_TO_COME_AND_GO = 0.3
"""From this probability on a reading speaks for a contact that comes and goes; before the first one it is 0.1. A
guess."""
BINS = 28
"""Values of a reading are told apart in so many bins. A guess."""
RARE_OUTCOME, RARE_CAUSE = 0.01, 0.05
"""Outcomes, and what they would mean, are not listed below these probabilities. Guesses."""
LEADS_OHM, HIGH_OHM = 1.0, 1000.0
NO_CURRENT, LITTLE_CURRENT, MUCH_CURRENT = 0.05, 0.6, 1.4
SMALL_DROP_V, WHOLE_DROP = 0.3, 0.75
NO_VOLTAGE, BATTERY_VOLTAGE, BATTERY_VOLTAGE_IN = 0.05, 0.93, {"crank": 0.72, "run": 1.0}
"""Edges between the outcomes that are listed. Ohms: the leads alone, high; shares of the load's current; drops: V, and
share of the system voltage; voltages: shares of the system voltage, the last by state. Guesses."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Suggestion:
    """One measurement worth taking.

    Attributes:
        measurement: what, where, in which state; its value is not set.
        gain_bits: expected information, bits.
        minutes: what it takes.
        outcomes: (what may be read, what that would mean).
        cautions: what to mind, the most dangerous first; may be empty.
        again: why it is asked for though it was taken already; empty where it was not.
        right_after: the probability that the likeliest hypothesis is the right one, as expected after the reading.
    """

    measurement: Measurement
    gain_bits: float
    minutes: float
    outcomes: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    again: str
    right_after: float

    @property
    def caution(self) -> str:
        """All that is to be minded, as one text."""
        return " ".join([*([self.again] if self.again else []), *self.cautions])

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`."""
        m = self.measurement
        return {
            "measure": m.quantity,
            "at": m.at,
            "to": m.to,
            "state": m.state,
            "load": m.load,
            **({"side": m.side} if m.side else {}),
            "gain_bits": round(self.gain_bits, 4),
            "minutes": round(self.minutes, 2),
            "outcomes": [{"if": a, "then": b} for a, b in self.outcomes],
            "caution": self.caution,
        }


@dataclass(frozen=True, slots=True)
class _Outlook:
    """The k cells that matter, with what the readings made of their unknowns, which spread by `spreads`; `by_group` are
    their weights, each in the row of its hypothesis; `by_part`, in the rows of the parts at fault in it (two for a
    pair), the probabilities that are called."""

    network: Network
    weight: Array
    by_group: Array
    by_part: Array
    mean: Array
    root: Array
    spreads: Array


def suggest(
    network: Network,
    known: Posterior,
    measured: Sequence[Measurement],
    most: int = 5,
    least_bits: float = LEAST_BITS,
    tool: Tool = "meter",
) -> list[Suggestion]:
    """The most worthwhile measurements with a tool, in order of information per minute; none below `least_bits`."""
    outlook = _outlook(network, known)
    scored: list[tuple[float, float, float, float, Measurement]] = []
    for m in candidates(network.circuit, measured, tool):
        bits, right = _gain(outlook, m)
        if bits >= least_bits:
            minutes = minutes_for(network.circuit, m, measured)
            scored.append((bits / minutes, bits, minutes, right, m))
    scored.sort(key=lambda entry: -entry[0])
    return [
        Suggestion(
            m,
            bits,
            minutes,
            _outcomes(outlook, m),
            cautions_for(network.circuit, [m]),
            TAKEN_ONCE if times_taken(network.circuit, m, measured) else "",
            right,
        )
        for _, bits, minutes, right, m in scored[:most]
    ]


def groups_of(cells: Cells) -> NDArray[np.int64]:
    """Number the hypothesis that each cell belongs to, shape (K,): a part, a pair of parts, not commanded, or
    healthy."""
    n = cells.ohm.shape[1]
    first, second = cells.part[:, 0], cells.part[:, 1]
    group = np.where(second >= 0, n + 2 + first * n + second, first)
    group[cells.fault == FAULTS.index("healthy")] = n
    missing = cells.command_at >= 0
    group[missing] = n * (n + 2) + cells.command_at[missing]
    return group


def _outlook(network: Network, known: Posterior) -> _Outlook:
    """The cells that matter. A contact that comes and goes stands in as two cells, good and open, at even odds."""
    order = np.argsort(-known.weight)[:CELLS_KEPT]
    keep = np.sort(order[known.weight[order] > WEIGHT_KEPT * known.weight[order[0]]])
    mean, covariance = known.unknowns(keep)
    groups = groups_of(network.cells)
    twin, twin_weight, twin_group = _twins(network.cells, known)
    _, group = np.unique(np.concatenate([groups[keep], twin_group]), return_inverse=True)
    weight = np.concatenate([known.weight[keep], twin_weight])
    called = weight * (1 - MODEL_WRONG)  # as a part's probability is: what comes and goes unseen has its share of it
    weight = weight / weight.sum()
    width = mean.shape[1]
    return _Outlook(
        network.among(np.concatenate([keep, twin])),
        weight,
        (group[None, :] == np.arange(group.max() + 1)[:, None]) * weight,
        _parts_of(network.cells, np.concatenate([keep, twin]), len(keep), twin_group) * called,
        np.concatenate([mean, np.zeros((len(twin), width))]),
        np.concatenate(
            [np.linalg.cholesky(covariance + 1e-9 * np.eye(width)), np.tile(np.eye(width), (len(twin), 1, 1))]
        ),
        known.fit.spreads,
    )


def _parts_of(cells: Cells, rows: NDArray[np.int64], kept: int, twin_part: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which part, command or nothing (the last row) is at fault in each cell, shape (2 n + 1, k)."""
    n = cells.ohm.shape[1]
    every = np.arange(n)[:, None]
    member = (cells.part[rows, 0] == every) | (cells.part[rows, 1] == every)
    member[:, kept:] = twin_part == every
    missing = cells.command_at[rows] == every
    missing[:, kept:] = False
    healthy = cells.fault[rows] == FAULTS.index("healthy")
    healthy[kept:] = False
    return np.concatenate([member & ~missing.any(axis=0), missing, healthy[None, :]])


def _twins(cells: Cells, known: Posterior) -> tuple[NDArray[np.int64], Array, NDArray[np.int64]]:
    """Cells, weights and hypotheses of the contacts that come and go; none while no reading speaks for one, since what
    was not seen to fail cannot be measured."""
    good = first_healthy(cells)
    if known.comes_and_goes.sum() < SEEN_TO_COME_AND_GO:
        return np.array([], int), np.array([]), np.array([], int)
    twin: list[int] = []
    weight: list[float] = []
    group: list[int] = []
    for k in np.flatnonzero(known.comes_and_goes > TWINS_FROM):
        twin += [good, interrupted(cells, int(k))]
        weight += [float(known.comes_and_goes[k]) / 2] * 2
        n = cells.ohm.shape[1]
        group += [int(k) if k < n else n * (n + 2) + int(k) - n] * 2  # as `groups_of` numbers them
    return np.array(twin, int), np.array(weight), np.array(group, int)


def _expected(outlook: _Outlook, m: Measurement) -> tuple[Array, Array]:
    """Mean and standard deviation of what each kept cell would show, on the scale of `predict`."""
    prediction = outlook.network.predict(m)
    slope = prediction.slope * outlook.spreads
    mean = prediction.mean + np.einsum("kp,kp->k", slope, outlook.mean)
    variance = ((slope[:, None, :] @ outlook.root)[:, 0] ** 2).sum(axis=1)
    own = noise(m, outlook.network.circuit, mean)
    return mean, np.sqrt(np.maximum(variance, 0) + own**2)


def _below(mean: Array, spread: Array, edges: Array) -> Array:
    """Probability of reading below each edge, shape (k, E)."""
    z = LOGISTIC * (edges[None, :] - mean[:, None]) / spread[:, None]
    return np.asarray(1 / (1 + np.exp(-np.clip(z, -50, 50))))


def _gain(outlook: _Outlook, m: Measurement) -> tuple[float, float]:
    """Expected information of a measurement about which hypothesis holds, bits; and the probability to be right after
    it with the likeliest one."""
    mean, spread = _expected(outlook, m)
    edges = np.array(m.bulb.edges) if m.quantity == "lamp" else _telling_edges(outlook, mean, spread)
    below = _below(mean, spread, edges)
    chance = np.diff(below, axis=1, prepend=0.0, append=1.0) * (1 - BAD_READING)
    # a bad reading mostly shows nothing: it adds to that bin in every cell, and so tells less
    nothing = 0.0 if m.quantity != "resistance" else math.log(OVERLOAD_OHM)
    chance[:, int(np.searchsorted(edges, nothing))] += BAD_READING
    return _information(outlook, chance), float((outlook.by_part @ chance).max(axis=0).sum())


def _telling_edges(outlook: _Outlook, mean: Array, spread: Array) -> Array:
    """Edges of bins in which a reading is about equally likely to fall."""
    marks = np.concatenate([mean - spread, mean, mean + spread])
    order = np.argsort(marks)
    share = np.cumsum(np.tile(outlook.weight, 3)[order])
    return np.unique(marks[order][np.searchsorted(share, np.linspace(0, 1, BINS)[1:-1] * share[-1] * 0.999999)])


def _information(outlook: _Outlook, chance: Array) -> float:
    """Mutual information between the hypothesis and the bin of what is read, bits; `chance` of shape (k, bins)."""
    joint = outlook.by_group @ chance
    return _entropy(joint.sum(1)) + _entropy(joint.sum(0)) - _entropy(joint.ravel())


def _entropy(p: Array) -> float:
    p = p[p > 1e-12]
    return float(-(p * np.log2(p)).sum())


def _outcomes(outlook: _Outlook, m: Measurement) -> tuple[tuple[str, str], ...]:
    """List in plain words what may be read, and the hypotheses that each outcome would leave."""
    names, edges = _classes(outlook.network.circuit, m)
    mean, spread = _expected(outlook, m)
    chance = np.diff(_below(mean, spread, np.array(edges)), axis=1, prepend=0.0, append=1.0)
    if m.quantity != "lamp" and (outlook.weight @ chance).max() > SPLITS:
        names, chance = _split(outlook, m, mean, spread)
    label = _labels(outlook.network)
    found = []
    for name, column in zip(names, chance.T, strict=True):
        weight = outlook.weight * column
        if weight.sum() < RARE_OUTCOME:
            continue
        left: dict[str, float] = {}
        for w, text in zip(weight / weight.sum(), label, strict=True):
            left[text] = left.get(text, 0.0) + float(w)
        ranked = sorted(left.items(), key=lambda item: -item[1])
        shown = [f"{text} ({p:.0%})" for text, p in ranked[:3] if p >= RARE_CAUSE]
        found.append((f"{name} (expected {weight.sum():.0%} of the time)", "most likely " + ", ".join(shown)))
    return tuple(found)


def _split(outlook: _Outlook, m: Measurement, mean: Array, spread: Array) -> tuple[list[str], Array]:
    """The two outcomes below and above the value that tells most, with their chances, shape (k, 2)."""
    ohms = m.quantity == "resistance"
    marks = np.quantile(np.concatenate([mean - spread, mean, mean + spread]), np.linspace(0.02, 0.98, 49))
    shown = np.maximum(np.exp(marks) - OHM_OFFSET, 0.0) if ohms else marks
    values = np.unique([float(f"{value:.3g}") for value in shown])
    below = _below(mean, spread, np.log(values + OHM_OFFSET) if ohms else values)
    chances = [np.stack([column, 1 - column], axis=1) for column in below.T]
    best = int(np.argmax([_information(outlook, chance) for chance in chances]))
    words = figure(values[best], UNITS[m.quantity])
    return [f"below {words}", f"{words} or more"], chances[best]


def _classes(circuit: Circuit, m: Measurement) -> tuple[list[str], list[float]]:
    v, a = circuit.system_v, circuit.load_a
    if m.quantity == "lamp":
        return list(BRIGHTNESS), list(m.bulb.edges)
    if m.quantity == "resistance":
        edges = [math.log(LEADS_OHM + OHM_OFFSET), math.log(HIGH_OHM)]
        return ["hardly more than the leads, below 1 ohm", "1 ohm to 1 kohm", "open, or above 1 kohm"], edges
    if m.quantity == "current":
        return ["no current", "too little current", "about the usual current", "too much current"], [
            NO_CURRENT * a, LITTLE_CURRENT * a, MUCH_CURRENT * a
        ]  # fmt: skip
    ground_side = m.at in circuit.point_of and m.to == BATTERY_MINUS and circuit.node(m.at) >= circuit.load
    if m.quantity == "voltage_drop" or ground_side:
        names = ["a few hundredths of a volt or less", "some loss", "nearly the whole voltage"]
        return names, [SMALL_DROP_V, WHOLE_DROP * v]
    level = BATTERY_VOLTAGE_IN.get(m.state, BATTERY_VOLTAGE)
    return ["near 0 V", "in between", "near battery voltage"], [NO_VOLTAGE * v, level * v]


def _labels(network: Network) -> list[str]:
    cells, circuit = network.cells, network.circuit
    names = []
    for c in range(len(cells)):
        parts = [circuit.parts[k].id for k in cells.part[c] if k >= 0]
        if cells.command_at[c] >= 0:
            parts = [circuit.parts[cells.command_at[c]].command]
        names.append(" with ".join(parts) or "no fault")
    return names
