"""Says how exact a reading is, on the scale of `predict`: ohms as y = log(R + 0.5 ohm), everything else in its unit."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.model.bulb import EDGE_BLUR
from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET, OVERLOAD_OHM
from meterlog.circuit.readings.measurement import Measurement

VOLT_ERROR_V, VOLT_SHARE, CURRENT_ERROR_A, CURRENT_SHARE = 0.03, 0.012, 0.1, 0.03
OHM_ERROR_OHM, OHM_SHARE = 0.15, 0.04
"""Standard deviation of a reading without a stated error, least and as a share of it: a meter's 0.5 % and 2 counts,
contact, drift between two readings, a person's rounding. Guesses."""
STATED_FLOOR, STATED_OHM_FLOOR_OHM = 0.02, 0.03
"""Contact and rounding add this to a stated error: V or A, and ohm. Guesses."""
COIL_V = 0.4
"""Standard deviation of a reading across a coil: its wires are not in the circuit file. A guess, V."""
OVERLOAD_FROM, OVERLOAD_SPREAD = 0.9, 2.5
"""From this share of the overload's ohms on a reading is 'open', and that is anything from some kohm (a beeper's range)
up: standard deviation of log ohms. Guesses."""

Array = NDArray[np.float64]


def shown_y(m: Measurement) -> float:
    """The measured value on the scale of `predict`."""
    if m.quantity != "resistance":
        return m.value
    return math.log(min(m.value, OVERLOAD_OHM) + OHM_OFFSET)


def noise(m: Measurement, circuit: Circuit, y: Array) -> Array:
    """A reading's standard deviation on the scale of `predict`, were it y; a stated error is taken as two of them."""
    if m.quantity == "lamp":
        return np.full(y.shape, EDGE_BLUR)
    if m.quantity == "resistance":
        ohm = np.exp(y) - OHM_OFFSET
        own = OHM_ERROR_OHM + OHM_SHARE * ohm if m.error is None else math.hypot(m.error / 2, STATED_OHM_FLOOR_OHM)
        return np.where(ohm > OVERLOAD_FROM * OVERLOAD_OHM, OVERLOAD_SPREAD, own / (ohm + OHM_OFFSET))
    if m.error is not None:
        return np.full(y.shape, math.hypot(m.error / 2, STATED_FLOOR))
    if m.at in circuit.commands:
        return np.full(y.shape, COIL_V)
    least, share = (CURRENT_ERROR_A, CURRENT_SHARE) if m.quantity == "current" else (VOLT_ERROR_V, VOLT_SHARE)
    return np.hypot(least, share * y)


def normal(x: float, spread: float) -> float:
    """The normal distribution's density at a distance from its middle."""
    return math.exp(-0.5 * (x / spread) ** 2) / (spread * math.sqrt(2 * math.pi))
