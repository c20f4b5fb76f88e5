"""Draws a physical signal on a fine grid, and writes its true events down as they are drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Rng = np.random.Generator
Array = NDArray[np.float64]
Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Truth:
    """One true event.

    Attributes:
        kind: as `analyze --json` spells it.
        start_s: when it begins, s.
        end_s: when it ends, s.
        timed: its duration is defined by how the signal was drawn, so a stated one can be held against it.
        certain: it is to be found, however it was sampled (an edge of the log's own, a marker, a flag).
        accepted: other kinds that name it as rightly.
        below: it shows where a reading inside is below this (slow edges, ripple), in the signal's unit.
        above: the same, above this.
        called: a pattern by which a sentence names it: 'no sag but the starter's' denies no start.
    """

    kind: str
    start_s: float
    end_s: float
    timed: bool = True
    certain: bool = False
    accepted: tuple[str, ...] = ()
    below: float = math.inf
    above: float = -math.inf
    called: str = ""

    @property
    def duration_s(self) -> float:
        """The true duration, s."""
        return self.end_s - self.start_s


@dataclass(slots=True)
class Trace:
    """A signal being drawn.

    Attributes:
        rng: of this log.
        step_s: the grid's spacing, s.
        now_s: the end of what is drawn, s.
        truth: the events so far.
    """

    rng: Rng
    step_s: float = 0.001
    now_s: float = 0.0
    truth: list[Truth] = field(default_factory=list)
    _parts: list[Array] = field(default_factory=list)

    @property
    def values(self) -> Array:
        """The whole signal, one value a step."""
        if len(self._parts) > 1:
            self._parts = [np.concatenate(self._parts)]
        return self._parts[0]

    def put(self, values: Array) -> tuple[float, float]:
        """Append values; return their span, s."""
        start = self.now_s
        self._parts.append(values)
        self.now_s = round(start + len(values) * self.step_s, 6)
        return start, self.now_s

    def steps(self, seconds: float) -> int:
        """Count the steps in a time, at least one."""
        return max(round(seconds / self.step_s), 1)

    def hold(self, level: float, seconds: float) -> tuple[float, float]:
        """Stay at a level."""
        return self.put(np.full(self.steps(seconds), level))

    def ramp(self, start: float, end: float, seconds: float) -> tuple[float, float]:
        """Go from one level to another in a straight line."""
        return self.put(np.linspace(start, end, self.steps(seconds)))

    def decay(self, start: float, end: float, tau_s: float, seconds: float) -> tuple[float, float]:
        """Approach a level exponentially."""
        return self.put(end + (start - end) * np.exp(-np.arange(self.steps(seconds)) * self.step_s / tau_s))

    def steady(self, level: float, seconds: float, drift: float = 0.01) -> tuple[float, float]:
        """Stay near a level, which drifts by a share as temperature and loads do, and ends where it began."""
        n = self.steps(seconds)
        turns = int(self.rng.integers(1, 3))
        wave = np.sin(2.0 * np.pi * turns * np.arange(n) / n)
        return self.put(level * (1.0 + self.between(0.0, drift) * wave))

    def spin_down(self, level: float, seconds: float) -> float:
        """Let a pump run down, generating a part of the voltage; return when half of the voltage is crossed, s.

        The duration of a pulse is that at its mid level (IEEE 181), so a slow fall is a part of it.
        """
        share, tau_s = self.between(0.3, 0.8), self.between(0.03, 0.15)
        start, _ = self.decay(share * level, 0.0, tau_s, seconds)
        return start + max(0.0, tau_s * math.log(share / 0.5))

    def floating(self, seconds: float, start: float = 0.0) -> tuple[float, float]:
        """Leave a 10 megohm input open: what it held bleeds away, then it wanders by tenths of a volt."""
        n = self.steps(seconds)
        bleed = start * np.exp(-np.arange(n) * self.step_s / self.between(0.02, 0.15))
        every = max(round(0.15 / self.step_s), 1)
        wander = np.repeat(np.abs(self.rng.normal(0.0, 0.08, n // every + 1)), every)[:n]
        return self.put(bleed + wander)

    def event(
        self,
        kind: str,
        span: tuple[float, float],
        *,
        timed: bool = True,
        certain: bool = False,
        accepted: tuple[str, ...] = (),
        below: float = math.inf,
        above: float = -math.inf,
        called: str = "",
    ) -> None:
        """Write a true event down; see `Truth`."""
        self.truth.append(Truth(kind, span[0], span[1], timed, certain, accepted, below, above, called))

    def between(self, low: float, high: float) -> float:
        """Draw a number, uniform."""
        return float(self.rng.uniform(low, high))

    def length(self, low: float, high: float) -> float:
        """Draw a number, uniform in its logarithm: short ones as often as long ones."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def chance(self, share: float) -> bool:
        """Draw yes or no."""
        return bool(self.rng.random() < share)
