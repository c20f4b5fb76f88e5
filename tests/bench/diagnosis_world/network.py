"""Solves a vehicle's network by nodal analysis: resistances and sources in, node voltages and branch currents out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

OPEN_S = 1e-10
"""Conductance of air, dirt and plastic, S: keeps every node tied to something."""
LEAST_OHM = 1e-4
"""A joint is never better than this, ohm."""


@dataclass(frozen=True)
class Branch:
    """One two-terminal element: `volts` behind `ohm`, driving current out of node `b`."""

    name: str
    a: int
    b: int
    ohm: float
    volts: float = 0.0


@dataclass
class Network:
    """Branches over nodes 0 to n - 1; node voltages are against `ground`."""

    nodes: int
    ground: int
    branches: list[Branch] = field(default_factory=list)

    def add(self, name: str, a: int, b: int, ohm: float, volts: float = 0.0) -> None:
        """Hang an element between two nodes; an infinite resistance leaves it out."""
        if a != b and np.isfinite(ohm):
            self.branches.append(Branch(name, a, b, max(ohm, LEAST_OHM), volts))

    def voltages(self, injected: dict[int, float] | None = None) -> np.ndarray:
        """Solve G v = i for the node voltages, V, shape (nodes,); `injected` is current into nodes, A."""
        matrix, current = np.eye(self.nodes) * OPEN_S, np.zeros(self.nodes)
        for branch in self.branches:
            g = 1 / branch.ohm
            a, b = branch.a, branch.b
            matrix[a, a] += g
            matrix[b, b] += g
            matrix[a, b] -= g
            matrix[b, a] -= g
            current[b] += branch.volts * g
            current[a] -= branch.volts * g
        for node, amps in (injected or {}).items():
            current[node] += amps
        matrix[self.ground, :] = 0.0
        matrix[self.ground, self.ground], current[self.ground] = 1.0, 0.0
        return np.linalg.solve(matrix, current)

    def amps(self, name: str, volts: np.ndarray) -> float:
        """The current through a branch from its a to its b, A; 0 where it is left out."""
        found = [x for x in self.branches if x.name == name]
        return float(sum((volts[x.a] - volts[x.b] + x.volts) / x.ohm for x in found))

    def with_load(self, a: int, b: int, draws: Callable[[float], float]) -> tuple[np.ndarray, float]:
        """Solve with a load between two nodes whose current is a rising function of its voltage.

        Returns:
            Node voltages, V, and the load's current, A.
        """
        free = self.voltages()
        open_v = float(free[a] - free[b])
        one = self.voltages({a: -1.0, b: 1.0})
        inside_ohm = max(open_v - float(one[a] - one[b]), LEAST_OHM)
        low, high = min(0.0, open_v), max(0.0, open_v)
        for _ in range(60):  # the load line falls and the load's own curve rises: halve until they meet
            middle = (low + high) / 2
            if (open_v - middle) / inside_ohm > draws(middle):
                low = middle
            else:
                high = middle
        amps = (open_v - (low + high) / 2) / inside_ohm
        return self.voltages({a: -amps, b: amps}), amps
