"""Suggests the next measurement: the one with the most expected information per minute.

Values are binned at the quantiles of what is expected, so that bins are fine where it matters.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from meterlog.circuit.acts import cautions_for
from meterlog.circuit.model.bulb import BRIGHTNESS
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.next_measurement.access import minutes_for
from meterlog.circuit.next_measurement.candidates import Tool, candidates, same_reading
from meterlog.circuit.next_measurement.outlook import Array, Outlook, information, meanings, right_after
from meterlog.circuit.probability.bad_readings import BAD_READING
from meterlog.circuit.probability.noise import noise, shown_y
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.probability.unknowns import LOGISTIC
from meterlog.circuit.readings.measurement import UNITS, Measurement
from meterlog.circuit.words import figure

LEAST_BITS = 0.01
"""Measurements with less expected information are not suggested. A guess."""
SPLITS = 0.97
"""Likelihood of one usual outcome from which, the value that tells most apart is said instead."""
TAKEN_ONCE = "Taken once already: take it again, to prove that the probe made contact."
CONTRADICTS = "It fits none of what is likely: take it again before you believe anything strange."
BINS = 28
"""Values of a reading are told apart in so many bins. A guess."""
LEADS_OHM, HIGH_OHM = 1.0, 1000.0
NO_CURRENT, LITTLE_CURRENT, MUCH_CURRENT = 0.05, 0.6, 1.4
SMALL_DROP_V, WHOLE_DROP = 0.3, 0.75
NO_VOLTAGE, BATTERY_VOLTAGE, BATTERY_VOLTAGE_IN = 0.05, 0.93, {"crank": 0.72, "run": 1.0}
"""Edges between the outcomes that are listed. Ohms: the leads alone, high; shares of the load's current; drops: V, and
share of the system voltage; voltages: shares of the system voltage, the last by state. Guesses."""


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
    def place(self) -> str:
        """Where and how, in words."""
        return self.measurement.place

    @property
    def notes(self) -> tuple[str, ...]:
        """All that is to be minded; why it is asked for again comes first."""
        return (self.again, *self.cautions) if self.again else self.cautions

    def as_json(self) -> dict[str, object]:
        """The object of `diagnose --json`."""
        m = self.measurement
        return {
            "kind": "measure",
            "measure": m.quantity,
            "at": m.at,
            "to": m.to,
            "state": m.state,
            "load": m.load,
            **({"side": m.side} if m.side else {}),
            **({"unplugged": m.unplugged} if m.unplugged else {}),
            "gain_bits": round(self.gain_bits, 4),
            "minutes": round(self.minutes, 2),
            "outcomes": [{"if": a, "then": b} for a, b in self.outcomes],
            "caution": " ".join(self.notes),
        }


def suggest(
    outlook: Outlook,
    measured: Sequence[Measurement],
    most: int = 5,
    least_bits: float = LEAST_BITS,
    tool: Tool = "meter",
    engine_runs: bool = True,
    doubted: Sequence[Measurement] = (),
) -> list[Suggestion]:
    """The most worthwhile measurements with a tool, in order of information per minute; none below `least_bits`.

    With an engine that does not start nothing is measured while it runs. `doubted` are readings that fit none of what
    is likely: to take one again is cheap, and tells a slip from a vehicle that is wired otherwise.
    """
    circuit = outlook.network.circuit
    scored: list[tuple[float, float, float, float, Measurement]] = []
    for m in candidates(circuit, measured, tool):
        if m.state == "run" and not engine_runs:
            continue
        bits, right = _gain(outlook, m, [one for one in doubted if same_reading(circuit, one, m)])
        if bits >= least_bits:
            minutes = minutes_for(circuit, m, measured)
            scored.append((bits / minutes, bits, minutes, right, m))
    scored.sort(key=lambda entry: -entry[0])
    return [
        Suggestion(
            m,
            bits,
            minutes,
            _outcomes(outlook, m),
            cautions_for(circuit, [m]),
            _again(circuit, m, measured, doubted),
            right,
        )
        for _, bits, minutes, right, m in scored[:most]
    ]


def _expected(outlook: Outlook, m: Measurement) -> tuple[Array, Array]:
    """Mean and standard deviation of what each kept cell would show, on the scale of `predict`."""
    prediction = outlook.network.predict(m)
    slope = prediction.slope * outlook.spreads
    mean = prediction.mean + np.einsum("kp,kp->k", slope, outlook.mean)
    variance = ((slope[:, None, :] @ outlook.root)[:, 0] ** 2).sum(axis=1)
    own = noise(m, outlook.network.circuit, mean)
    return mean, np.sqrt(np.maximum(variance, 0) + own**2 + prediction.own**2)


def _below(mean: Array, spread: Array, edges: Array) -> Array:
    """Probability of reading below each edge, shape (k, E)."""
    z = LOGISTIC * (edges[None, :] - mean[:, None]) / spread[:, None]
    return np.asarray(1 / (1 + np.exp(-np.clip(z, -50, 50))))


def _again(circuit: Circuit, m: Measurement, measured: Sequence[Measurement], doubted: Sequence[Measurement]) -> str:
    if any(same_reading(circuit, one, m) for one in doubted):
        return CONTRADICTS
    return TAKEN_ONCE if any(same_reading(circuit, one, m) for one in measured) else ""


def _gain(outlook: Outlook, m: Measurement, before: Sequence[Measurement]) -> tuple[float, float]:
    """Expected information of a measurement about which hypothesis holds, bits; and the probability to be right after
    it with the likeliest one. `before` are doubted readings of the same place."""
    circuit = outlook.network.circuit
    mean, spread = _expected(outlook, m)
    edges = np.array(m.bulb.edges) if m.quantity == "lamp" else _telling_edges(outlook, mean, spread)
    below = _below(mean, spread, edges)
    chance = _among(below)
    # a bad reading mostly shows nothing: it adds to that bin in every cell, and so tells less
    nothing = 0.0 if m.quantity != "resistance" else math.log(OVERLOAD_OHM)
    at_nothing = int(np.searchsorted(edges, nothing))
    chance[:, at_nothing] += BAD_READING
    outside = None
    if before:  # the same place shows the same, however the vehicle is wired
        shown = np.array([shown_y(one) for one in before])
        spread = math.sqrt(2) * noise(m, circuit, shown)
        outside = _among(_below(shown, spread, edges)).mean(axis=0)
        outside[at_nothing] += BAD_READING
    return information(outlook, chance, outside), right_after(outlook, chance)


def _among(below: Array) -> Array:
    """The probability of each bin, as far as the reading is no bad one."""
    return np.asarray(np.diff(below, axis=1, prepend=0.0, append=1.0) * (1 - BAD_READING))


def _telling_edges(outlook: Outlook, mean: Array, spread: Array) -> Array:
    """Edges of bins in which a reading is about equally likely to fall."""
    marks = np.concatenate([mean - spread, mean, mean + spread])
    order = np.argsort(marks)
    share = np.cumsum(np.tile(outlook.weight, 3)[order])
    return np.unique(marks[order][np.searchsorted(share, np.linspace(0, 1, BINS)[1:-1] * share[-1] * 0.999999)])


def _outcomes(outlook: Outlook, m: Measurement) -> tuple[tuple[str, str], ...]:
    """List in plain words what may be read, and the hypotheses that each outcome would leave."""
    names, edges = _classes(outlook.network.circuit, m)
    mean, spread = _expected(outlook, m)
    chance = np.diff(_below(mean, spread, np.array(edges)), axis=1, prepend=0.0, append=1.0)
    if m.quantity != "lamp" and (outlook.weight @ chance).max() > SPLITS:
        names, chance = _split(outlook, m, mean, spread)
    return meanings(outlook, names, chance)


def _split(outlook: Outlook, m: Measurement, mean: Array, spread: Array) -> tuple[list[str], Array]:
    """The two outcomes below and above the value that tells most, with their chances, shape (k, 2)."""
    ohms = m.quantity == "resistance"
    marks = np.quantile(np.concatenate([mean - spread, mean, mean + spread]), np.linspace(0.02, 0.98, 49))
    shown = np.maximum(np.exp(marks) - OHM_OFFSET, 0.0) if ohms else marks
    values = np.unique([float(f"{value:.3g}") for value in shown])
    below = _below(mean, spread, np.log(values + OHM_OFFSET) if ohms else values)
    chances = [np.stack([column, 1 - column], axis=1) for column in below.T]
    best = int(np.argmax([information(outlook, chance) for chance in chances]))
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
    ground_side = m.at in circuit.point_of and m.to == BATTERY_MINUS and not circuit.on_feed_side[circuit.node(m.at)]
    if m.quantity == "voltage_drop" or ground_side:
        names = ["a few hundredths of a volt or less", "some loss", "nearly the whole voltage"]
        return names, [SMALL_DROP_V, WHOLE_DROP * v]
    level = BATTERY_VOLTAGE_IN.get(m.state, BATTERY_VOLTAGE)
    return ["near 0 V", "in between", "near battery voltage"], [NO_VOLTAGE * v, level * v]
