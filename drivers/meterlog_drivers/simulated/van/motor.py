"""The pump: a permanent-magnet DC motor, integrated exactly step by step.

The equations of a permanent-magnet DC motor (any textbook on electrical machines) with winding R, inductance L,
machine constant k, inertia J, the pump's constant torque T0 and a drag b:

    L di/dt = E - R i - k w        J dw/dt = k i - T0 - b w

They are linear, so a step over which E is constant is solved exactly by the matrix exponential (zero-order hold):
in the modes z = inv(V) x of the system matrix, z' = exp(l h) z + (exp(l h) - 1)/l g. There is no step error
whatever the step; the step (0.5 ms in `vehicle.py`) only says how finely the supply voltage is described. The
torque opposes motion and cannot turn the rotor backwards, so the rotor is either turning (both equations) or
standing (the first one, w = 0), and the integration changes over where w reaches 0 or k i exceeds T0.

An in-tank pump displaces a fixed volume a turn against a regulated pressure, hence the constant torque.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class PumpMotor:
    """A brushed in-tank pump. The defaults draw about 4.9 A at 12 V (good examples: 4-5 A, grade B/A).

    Attributes:
        winding_ohm: armature and brushes, ohm (0.2-3.0 at 20 degC, grade A).
        inductance_h: H (from memory, unverified).
        constant: volts per rad/s, which is also N m per A (chosen to give about 5000 rpm).
        inertia_kgm2: rotor and impeller, kg m2 (from memory, unverified; about 0.1 s to stop).
        load_nm: the pump's torque at its regulated pressure, N m.
        drag_nms: viscous drag, N m s.
        dead_arc_rad: how much of a turn the brushes rest on a burnt segment; 0 for a sound commutator. It is
            felt only at rest: a turning rotor crosses it in less than a millisecond.
    """

    winding_ohm: float = 0.9
    inductance_h: float = 0.4e-3
    constant: float = 0.0134
    inertia_kgm2: float = 1.5e-5
    load_nm: float = 0.055
    drag_nms: float = 2.0e-5
    dead_arc_rad: float = 0.0

    @cached_property
    def locked_a(self) -> float:
        """The current below which a standing rotor does not start, A."""
        return self.load_nm / self.constant

    def steady(self, supply_v: float, series_ohm: float) -> tuple[float, float]:
        """Find where it settles on a constant supply through a series resistance: current, A, and speed, rad/s."""
        ohm = self.winding_ohm + series_ohm
        speed = (self.constant * supply_v / ohm - self.load_nm) / (self.constant**2 / ohm + self.drag_nms)
        if speed <= 0.0:
            return supply_v / ohm, 0.0
        return (supply_v - self.constant * speed) / ohm, speed

    def drive(
        self, supply_v: Array, series_ohm: float, step_s: float, current_a: float, speed: float
    ) -> tuple[Array, Array]:
        """Drive it from a supply through a series resistance.

        Args:
            supply_v: V, shape (n,): constant over each step.
            series_ohm: everything between the supply and the winding, ohm.
            step_s: s.
            current_a: at the start, A.
            speed: at the start, rad/s.

        Returns:
            Current, A, and speed, rad/s, at the end of each step; two arrays of shape (n,).
        """
        n = len(supply_v)
        currents, speeds = np.empty(n), np.empty(n)
        done = 0
        while done < n:
            standing = speed <= 0.0 and self.constant * current_a < self.load_nm
            part = supply_v[done:]
            if standing:
                i, w = self._standing(part, series_ohm, step_s, current_a)
                ends = np.flatnonzero(i >= self.locked_a)
            else:
                i, w = self._turning(part, series_ohm, step_s, current_a, max(speed, 0.0))
                ends = np.flatnonzero(w < 0.0)
            count = int(ends[0]) + 1 if len(ends) else len(part)
            currents[done : done + count], speeds[done : done + count] = i[:count], np.maximum(w[:count], 0.0)
            current_a, speed = float(currents[done + count - 1]), float(speeds[done + count - 1])
            done += count
        return currents, speeds

    def coast(self, count: int, step_s: float, speed: float) -> Array:
        """The speed after each of `count` steps with the circuit open, rad/s, shape (count,)."""
        t = step_s * np.arange(1, count + 1)
        asymptote = -self.load_nm / self.drag_nms
        decay = np.exp(-self.drag_nms / self.inertia_kgm2 * t)
        speeds: Array = np.maximum(asymptote + (speed - asymptote) * decay, 0.0)
        return speeds

    def rests_on_dead_arc(self, turned_rad: float) -> bool:
        """Tell whether a rotor that stopped after turning that far rests on the burnt segment."""
        return math.fmod(turned_rad, 2 * math.pi) < self.dead_arc_rad

    def _standing(self, supply_v: Array, series_ohm: float, step_s: float, current_a: float) -> tuple[Array, Array]:
        ohm = self.winding_ohm + series_ohm
        decay = math.exp(-ohm / self.inductance_h * step_s)
        gains = (supply_v * ((1.0 - decay) / ohm)).tolist()
        i = np.array(list(accumulate(gains, lambda a, g: decay * a + g, initial=current_a))[1:])
        return i, np.zeros(len(supply_v))

    def _turning(
        self, supply_v: Array, series_ohm: float, step_s: float, current_a: float, speed: float
    ) -> tuple[Array, Array]:
        ohm = self.winding_ohm + series_ohm
        system = np.array(
            [
                [-ohm / self.inductance_h, -self.constant / self.inductance_h],
                [self.constant / self.inertia_kgm2, -self.drag_nms / self.inertia_kgm2],
            ],
            dtype=complex,
        )
        rates, modes = np.linalg.eig(system)
        inverse = np.linalg.inv(modes)
        start = inverse @ np.array([current_a, speed])
        by_volt = inverse @ np.array([1.0 / self.inductance_h, 0.0])
        by_load = inverse @ np.array([0.0, -self.load_nm / self.inertia_kgm2])
        state = np.zeros((2, len(supply_v)), dtype=complex)
        for mode in range(2):
            decay = complex(np.exp(rates[mode] * step_s))
            gains = ((decay - 1.0) / rates[mode] * (by_volt[mode] * supply_v + by_load[mode])).tolist()
            state[mode] = _follow(decay, gains, complex(start[mode]))
        solved = (modes @ state).real
        return solved[0], solved[1]


def _follow(decay: complex, gains: list[complex], start: complex) -> list[complex]:
    return list(accumulate(gains, lambda z, g: decay * z + g, initial=start))[1:]
