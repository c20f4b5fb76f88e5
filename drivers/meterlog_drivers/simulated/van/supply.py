"""The supply over time: battery, starter and alternator as one source that the pump circuit hangs on.

The source's voltage is the battery's open-circuit voltage less what the starter and the other consumers drop across
its internal resistance; with the engine running, the alternator's regulated voltage. The pump's own few amperes are
left to the pump circuit, which has the internal resistance as its first part; their effect on the starter (5 A beside
150 A) and on the relay coil is left out.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.simulated.van.battery import Battery
from meterlog_drivers.simulated.van.starter import Starter

Array = NDArray[np.float64]
Span = tuple[float, float]

SURFACE_SHARE, SURFACE_TIME_S = 0.45, 40.0
"""A battery just charged shows more than its rest voltage: share of the charging overvoltage that stays, and its time
constant. From memory, unverified, and quicker than life so that a short scenario shows it."""


@dataclass(frozen=True)
class Supply:
    """The source that feeds the van.

    Attributes:
        battery, starter: see their modules.
        regulated_v: the alternator's set point, V (20 degC: 13.7-14.6, grade A).
        regulation_s: time constant with which it is reached, s.
        consumers_a: what ignition and lamps take with the key on, A.
        asleep_a: what is left with the key off, A (25-50 mA after 75 min, grade A).
    """

    battery: Battery = field(default_factory=Battery)
    starter: Starter = field(default_factory=Starter)
    regulated_v: float = 14.2
    regulation_s: float = 0.4
    consumers_a: float = 4.0
    asleep_a: float = 0.03

    def voltage(self, consumers_a: Array, step_s: float, cranks: tuple[Span, ...], runs: tuple[Span, ...]) -> Array:
        """The source's voltage in each step, V, shape (n,).

        Args:
            consumers_a: what ignition, lamps and the like take, A, shape (n,).
            step_s: s.
            cranks: when the starter turns, spans in s.
            runs: when the engine runs.
        """
        count, ohm, rest = len(consumers_a), self.battery.ohm, self.battery.rest_v
        volts = rest - ohm * consumers_a
        for begin, end in cranks:
            a, b = _steps(begin, end, step_s, count)
            volts[a:b] -= ohm * self.starter.crank(float(volts[a]), ohm, b - a, step_s)
        for begin, end in runs:
            a, b = _steps(begin, end, step_s, count)
            rise = 1.0 - np.exp(-step_s * np.arange(b - a) / self.regulation_s)
            volts[a:b] += (self.regulated_v - volts[a:b]) * rise
            after = step_s * np.arange(count - b)
            volts[b:] += SURFACE_SHARE * (self.regulated_v - rest) * np.exp(-after / SURFACE_TIME_S)
        return volts


def within(count: int, step_s: float, spans: tuple[Span, ...]) -> NDArray[np.bool_]:
    """Tell of each step whether it lies in one of the spans, shape (count,)."""
    inside = np.zeros(count, dtype=bool)
    for begin, end in spans:
        a, b = _steps(begin, end, step_s, count)
        inside[a:b] = True
    return inside


def _steps(begin_s: float, end_s: float, step_s: float, count: int) -> tuple[int, int]:
    last = count * step_s
    return round(min(begin_s, last) / step_s), round(min(end_s, last) / step_s)
