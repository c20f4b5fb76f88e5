"""Says how often a reading is a bad one though the person believes it, and what it shows then.

A bad reading shows nothing at all (the probe made no contact), or something else: a wrong pin, another state, a plug
that is still apart, a slip in typing. Up to what some fault of the circuit can show, that is mostly as likely at each
value as the value is over all faults: a reading that only one fault explains then speaks for it no less the worse it
is. Beyond that it is anything.
"""

from __future__ import annotations

import math

import numpy as np

from meterlog.circuit.model.bulb import EDGE_BLUR
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.noise import OVERLOAD_SPREAD, noise, normal, shown_y
from meterlog.circuit.probability.predict_ohms import OVERLOAD_OHM
from meterlog.circuit.readings.measurement import Measurement

BAD_READING, BAD_WEIGHT = 0.03, 25.0
"""Share of readings that are bad though the person believes them, and how well that is known before the first: as well
as from 25 readings. A Beta prior: who slipped once (another hand, place or meter) is taken to slip more often, so that
readings which contradict each other make all of them count for less. Guesses; makers warn of it, none counts it."""
SECOND_LOOK = 0.2
"""Factor on how often a reading is bad where its place was read before: the second time it is looked at twice. A
guess."""
NO_CONTACT, OTHER_BAD = 0.7, 0.3
"""Share of bad readings that show nothing at all (0 or, on ohms, open), and of others. Guesses."""
SLIPPED = 0.07
"""Share of the others that may be anything though a fault can show them. A guess."""
BAD_LAMP = {"dark": 0.75, "glowing": 0.05, "dim": 0.05, "bright": 0.15}
"""Says what a lamp shows that tells nothing about the circuit: its clip or tip has no contact, or it is on another
wire. Guesses."""
ANY_V, ANY_A, ANY_LOG_OHM = 1.4, 4.0, 20.0
"""Beyond what a fault can show, it is anything in so many system voltages, load currents, or units of log ohms.
Guesses."""


def bad_density(m: Measurement, circuit: Circuit, usual: float, *, beyond: bool) -> float:
    """The density of a bad reading's value.

    Args:
        m: the reading.
        circuit: where it was taken.
        usual: the density of its value over all faults.
        beyond: no fault can show that value.
    """
    if m.quantity == "lamp":
        return BAD_LAMP[m.shown] / (EDGE_BLUR * math.sqrt(2 * math.pi))
    slipped = 1.0 if beyond else SLIPPED
    return _nothing(m, circuit) + OTHER_BAD * ((1 - slipped) * usual + slipped / _range(m, circuit))


def _nothing(m: Measurement, circuit: Circuit) -> float:
    """The density of what a probe without contact shows."""
    if m.quantity == "resistance":
        return NO_CONTACT * normal(shown_y(m) - math.log(OVERLOAD_OHM), OVERLOAD_SPREAD)
    return NO_CONTACT * normal(shown_y(m), float(noise(m, circuit, np.zeros(1))[0]))


def _range(m: Measurement, circuit: Circuit) -> float:
    """The width of what a meter may show, on the scale of `predict`."""
    if m.quantity == "resistance":
        return ANY_LOG_OHM
    return ANY_A * circuit.load_a if m.quantity == "current" else ANY_V * circuit.system_v


def log_bad_count(bad: int, count: int) -> float:
    """Log-probability that some named ones of `count` readings are bad, and the others are not (Beta-binomial)."""
    a, b = BAD_READING * BAD_WEIGHT, (1 - BAD_READING) * BAD_WEIGHT
    return _log_beta(a + bad, b + count - bad) - _log_beta(a, b)


def _log_beta(a: float, b: float) -> float:
    return math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
