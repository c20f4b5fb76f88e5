"""Refuses figures that no vehicle can make a meter show: they are slips of the hand, never evidence."""

from __future__ import annotations

import math

import numpy as np

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.model.circuit_checks import MOST_V
from meterlog.circuit.model.solve import LoadModel, solve
from meterlog.circuit.words import figure

OVER_SYSTEM = 2.5
"""Steady volts end here, relative to the system's: a 12 V vehicle started from a 24 V one that charges sees 29 V (its
own regulator failed: 18 V); 24 V ones see 36 V. After ISO 16750-2, figures from memory, unverified. Spikes are higher,
and are no readings of a circuit that stands."""
MOST_A = 5000.0
"""Current that a large starter battery gives into a dead short: 12.6 V over some 3 mohm. From memory, unverified."""
LEAST_LIMIT_A = 100.0
"""Below this no current is refused, however thin the circuit's wires: a clamp may be around others too. A guess."""
SHORTED_SPREAD = 2.0
"""By how much a real circuit's own resistance may be below the model's figures. A guess."""
LEAST_OHM = 1e-6
"""Stands for nothing in the solver, ohm: far below any wire."""
MOST_OHM = 1e9
"""Hand-held meters show overload from 40-60 Mohm on."""


def highest(quantity: str, circuit: Circuit) -> float:
    """The highest value, of either sign, that a quantity can have in a circuit: V, A or ohm."""
    if quantity == "resistance":
        return MOST_OHM
    if quantity == "current":
        return min(MOST_A, max(LEAST_LIMIT_A, SHORTED_SPREAD * _shorted_a(circuit)))
    return min(MOST_V, OVER_SYSTEM * circuit.system_v)


def _shorted_a(circuit: Circuit) -> float:
    """Return what the battery gives with every load of a circuit shorted, A."""
    ohm = np.maximum(circuit.healthy_ohm(), LEAST_OHM)
    ohm[list(circuit.loads)] = LEAST_OHM
    shorted = LoadModel(1.0, LEAST_OHM, circuit.system_v, stalled=True)
    return float(solve(circuit, ohm, circuit.system_v, shorted).part_a[0])


def impossible(quantity: str, value: float, circuit: Circuit) -> str:
    """Say why a value cannot be, in words; empty where it can. inf ohm is an open circuit."""
    most = highest(quantity, circuit)
    if abs(value) <= most or (quantity == "resistance" and math.isinf(value)):
        return ""
    if quantity == "resistance":
        return f"{figure(value, 'ohm')} is more than a meter can show: write 'open' for an overload"
    if quantity == "current":
        return (
            f"{figure(value, 'A')} is more than this circuit lets through with its load shorted"
            f" ({figure(most, 'A', 2)} at the most): was a decimal point lost, or were mA meant?"
        )
    return (
        f"{figure(value, 'V')} is more than a {circuit.system_v:g} V system can give ({figure(most, 'V', 2)} at the"
        " most): was a decimal point lost, or were mV meant?"
    )
