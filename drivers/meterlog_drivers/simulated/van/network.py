"""The van's network between two movements of a contact: nodal analysis of what hangs together then.

G v = i for the node voltages (any textbook on circuits), battery - being the reference. The motor is what it generates,
behind its winding (its inductance left out: a millisecond), so all is linear, and each voltage is a sum of two shares,
one of the source's and one of the motor's.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Shunt = tuple[int, int, float]
"""Something hung between two nodes: the nodes and its resistance, ohm."""

LEAK_S = 1e-11
"""Conductance of dirt and insulation from each node to the reference, S: what floats has a voltage, too. A guess."""
FLOATS_OHM = 1e9
"""Behind more than this, ohm, a probe hangs on nothing: a hundred times a meter's input."""
FEEDS_OHM = 5e6
"""Behind more than this, ohm, a motor is cut off: half a meter's input, which feeds none."""


@dataclass(frozen=True)
class Network:
    """The chain, and what hangs on it.

    Attributes:
        ohm: each part's resistance, the battery's first, ohm, shape (n,); inf is open. The load's entry is in series
            with its winding. Node k lies after part k.
        load: the load's place.
        winding_ohm: the load at rest.
        shunts: lamps, meters, shorts, feeds from elsewhere.
        isolated: the battery is taken off.
    """

    ohm: Array
    load: int
    winding_ohm: float
    shunts: tuple[Shunt, ...] = ()
    isolated: bool = False

    @cached_property
    def fed(self) -> bool:
        """True where the load's circuit is closed, so that its current is what the motor makes of it."""
        return bool(np.isfinite(self.ohm[self.load])) and self.behind_load_ohm < FEEDS_OHM

    @cached_property
    def behind_load_ohm(self) -> float:
        """The resistance that the load looks into, ohm."""
        return float(self._inverse((), self.load)[self.load - 1, self.load - 1])

    @cached_property
    def load_share(self) -> float:
        """The share of the source's voltage that lies across the load's place while it draws nothing."""
        return float(np.subtract(*self._by_source(self._inverse((), self._minus))[[self.load - 1, self.load]]))

    def voltage(self, a: int, b: int, source_v: Array, emf_v: Array) -> Array:
        """The voltage of node a against node b over time.

        Args:
            a, b: nodes.
            source_v: of the battery without load, V, shape (t,).
            emf_v: what the load generates, V, shape (t,).

        Returns:
            V, shape (t,).
        """
        inverse = self._with_load
        by_source = self._by_source(inverse)
        by_load = (inverse[:, self.load - 1] - inverse[:, self.load]) / self._load_ohm
        volts: Array = (by_source[a] - by_source[b]) * source_v + (by_load[a] - by_load[b]) * emf_v
        return volts

    def behind_ohm(self, a: int, b: int) -> float:
        """The resistance between two nodes, sources at rest, ohm; inf where they do not hang together."""
        found = float(self._inverse(self._winding, b)[a, a])
        return found if found < FLOATS_OHM else np.inf

    def floats(self, node: int) -> bool:
        """Tell whether a node hangs on nothing."""
        return self.behind_ohm(node, self._minus) == np.inf

    @property
    def _minus(self) -> int:
        return len(self.ohm) - 1

    @property
    def _load_ohm(self) -> float:
        return float(self.ohm[self.load]) + self.winding_ohm

    @property
    def _winding(self) -> tuple[Shunt, ...]:
        return ((self.load - 1, self.load, self._load_ohm),)

    @cached_property
    def _with_load(self) -> Array:
        return self._inverse(self._winding, self._minus)

    def _inverse(self, more: tuple[Shunt, ...], reference: int) -> Array:
        """Volts at each node against the reference by amperes into each, ohm, shape (n, n)."""
        last = self._minus
        battery = () if self.isolated else ((last, 0, float(self.ohm[0])),)
        chain = [(k - 1, k, float(self.ohm[k])) for k in range(1, last + 1) if k != self.load]
        conductance = np.eye(last + 1) * LEAK_S
        for a, b, ohm in (*battery, *chain, *self.shunts, *more):
            conductance[[a, b], [a, b]] += 1.0 / ohm
            conductance[[a, b], [b, a]] -= 1.0 / ohm
        others = np.delete(np.arange(last + 1), reference)
        inverse = np.zeros((last + 1, last + 1))
        inverse[np.ix_(others, others)] = np.linalg.inv(conductance[np.ix_(others, others)])
        return inverse

    def _by_source(self, inverse: Array) -> Array:
        """Volts at each node by volts of the source: behind its resistance it drives a current into the first node."""
        return np.zeros(len(inverse)) if self.isolated else inverse[:, 0] / self.ohm[0]
