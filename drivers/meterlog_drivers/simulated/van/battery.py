"""The battery: open-circuit voltage by charge and temperature, and internal resistance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_CHARGE = (0.0, 0.25, 0.50, 0.75, 1.0)  # share of full
_REST_V = (11.6, 12.0, 12.2, 12.4, 12.6)
"""Open-circuit voltage of a flooded 12 V battery, V, against its charge: figures of the trade press (grade C)."""

_REST_V_PER_K = 0.0012
"""Change of the open-circuit voltage with temperature, V/K for six cells: 0.2 mV/K a cell, from memory, unverified."""

_OHM_PER_K = -0.010
"""Share by which the internal resistance changes with temperature, 1/K: from memory, unverified."""

_OHM_RISE_EMPTY = 0.8
"""Share by which an empty battery has more internal resistance than a full one: from memory, unverified."""

_LEAST_OHM_SHARE = 0.5
"""However hot, half the resistance is left: a guess that only keeps the straight line from going below 0."""


@dataclass(frozen=True, slots=True)
class Battery:
    """A flooded 12 V lead-acid starter battery.

    Attributes:
        charge: 0 to 1.
        temperature_c: of the acid, degC.
        healthy_ohm: internal resistance when full and at 25 degC, ohm (8 mohm: usual for a car, from memory,
            unverified; a worn or sulphated battery has several times that).
    """

    charge: float = 0.9
    temperature_c: float = 20.0
    healthy_ohm: float = 0.008

    @property
    def rest_v(self) -> float:
        """Open-circuit voltage, V."""
        return float(np.interp(self.charge, _CHARGE, _REST_V)) + _REST_V_PER_K * (self.temperature_c - 25.0)

    @property
    def ohm(self) -> float:
        """Internal resistance, ohm: rises as charge and temperature fall (both laws from memory, unverified)."""
        by_charge = 1.0 + _OHM_RISE_EMPTY * (1.0 - self.charge) ** 2
        by_cold = max(_LEAST_OHM_SHARE, 1.0 + _OHM_PER_K * (self.temperature_c - 25.0))
        return self.healthy_ohm * by_charge * by_cold
