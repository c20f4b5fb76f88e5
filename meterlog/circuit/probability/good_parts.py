"""Says how far a vehicle's good parts are from their usual figures: what manuals allow, and what fresh parts lose."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.model.circuit import Circuit
from meterlog.circuit.probability.unknowns import UNKNOWNS

ALLOWED_V = {"connector": 0.1, "ground": 0.1, "wire": 0.2, "switch": 0.3, "relay_contact": 0.3}
"""Drop that manuals allow a good part at its load's current in a 12 V circuit, V (makers' manuals; a small connection:
nothing, a high-current one and a ground 0.1 V, a cable 0.2 V, a switch or relay contact 0.3 V)."""
STATED_SPREAD, BATTERY_SPREAD, DEFAULT_SPREAD, BY_DESIGN_SPREAD = 0.12, 0.3, 1.0, 0.25
"""Standard deviation of a good part's resistance as a share of its usual one: where it is stated, of a battery (whose
voltage is known at its posts), by the kind's default (a log-normal with a factor of 2), stated and by design (a speed
unit warms, a pulsed feed varies). Guesses."""
ALLOWED_SPREADS = 2.0
"""A drop at the limit of the manuals is taken as so many standard deviations. A guess."""
FRESH = 0.3
"""In a vehicle whose good parts are fresh, the drops that manuals allow shrink to this share: relay contacts lose 30 to
100 mV at 10 A (makers' datasheets) where a manual allows 300. A guess for all other kinds."""
LITTLE = 0.25
"""Of the load's current, from which on a good part may lose all of that. Guess."""

Array = NDArray[np.float64]


class GoodParts:
    """The good parts of one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit

    @cached_property
    def _share(self) -> Array:
        """Standard deviation of each good part's resistance as a share of its usual one, shape (n,)."""
        values = []
        for k, part in enumerate(self.circuit.parts):
            if k == self.circuit.load:
                values.append(0.0)
            elif part.resistance_ohm is not None or part.current_a is not None:
                values.append(BY_DESIGN_SPREAD if part.by_design else STATED_SPREAD)
            else:
                values.append(BATTERY_SPREAD if part.kind == "battery" else DEFAULT_SPREAD)
        return np.array(values)

    @cached_property
    def _allowed_v(self) -> Array:
        """Standard deviation of each good part's drop by what manuals allow (`ALLOWED_V`), shape (n,), V; 0 where its
        resistance is stated."""
        volts = [
            0.0 if part.by_design or part.resistance_ohm is not None else ALLOWED_V.get(part.kind, 0.0)
            for part in self.circuit.parts
        ]
        return np.array(volts) / ALLOWED_SPREADS * self.circuit.volts_scale

    @cached_property
    def fresh(self) -> Array:
        """The factor by which each unknown spreads less in a vehicle with fresh parts, shape (P,)."""
        return np.concatenate([np.ones(len(UNKNOWNS)), np.where(self._allowed_v > 0, FRESH, 1.0)])

    def drop_v(self, amps: Array) -> Array:
        """Standard deviation of the good parts' drops at some currents, shape (K, n), signed as the current.

        What manuals allow is a bound in volts, whatever the current, and most parts are far from it: it grows with the
        current only up to `LITTLE` of the load's. Otherwise every good part that loses next to nothing would speak for
        a load that draws less.
        """
        usual = amps * self.circuit.healthy_ohm() * self._share
        allowed = np.clip(amps / (LITTLE * self.circuit.carried_a), -1, 1) * self._allowed_v
        return np.where(np.abs(allowed) > np.abs(usual), allowed, usual)
