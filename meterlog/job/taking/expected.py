"""Says what a sound circuit shows at a place, key off and in the state that is asked for: what a change is told by."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from meterlog.circuit.faults.cells import first_healthy
from meterlog.circuit.probability.predict_ohms import OHM_OFFSET
from meterlog.circuit.readings.measurement import Measurement
from meterlog.job.case import JobCase


@dataclass(frozen=True, slots=True)
class Expected:
    """Holds what a sound circuit shows, in the reading's unit. A guide to what is seen, never what is entered.

    Attributes:
        rest: with the key off.
        key_on: with the key on.
        active: in the state that is asked for.
    """

    rest: float
    key_on: float
    active: float


def expected(case: JobCase, m: Measurement) -> Expected:
    """Predict a sound circuit's reading in the three states; ohms have one."""
    if m.quantity == "resistance":
        ohm = math.exp(_shown(case, m)) - OHM_OFFSET
        return Expected(ohm, ohm, ohm)
    rest, key_on = (_shown(case, replace(m, state=state)) for state in ("off", "key_on"))
    return Expected(rest, key_on, _shown(case, m))


def _shown(case: JobCase, m: Measurement) -> float:
    cells = case.diagnoser.cells
    return float(case.diagnoser.network.predict(m).mean[first_healthy(cells)])
