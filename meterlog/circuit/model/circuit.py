"""The circuit: a chain of parts from battery + round to battery -, its branches, and the points a probe can touch."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from meterlog.circuit.model.loops import Branch
from meterlog.circuit.model.part import BATTERY_MINUS, Part, Point, near
from meterlog.circuit.model.wiring import Wiring
from meterlog.errors import CircuitError

HEALTHY_OHM: Mapping[str, float] = {
    "battery": 0.010,
    "connector": 0.004,
    "fuse": 0.006,
    "switch": 0.008,
    "relay_contact": 0.005,
    "wire": 0.015,
    "ground": 0.004,
}
"""Resistance of a good part of each kind, ohm, in a circuit that draws 5 A; scaled with 5 A / current for others, since
cross-sections follow current. Relay contacts: 30-100 mV at 10 A, 3 mohm typical (a maker's datasheet). The others are
defaults from memory, unverified; a part's own `resistance_ohm` replaces them."""

OTHER_HEALTHY_OHM = 0.01
"""The same for kinds that are not in the table. A guess."""

DEFAULT_LOAD_A = 5.0
"""Good pump currents are 4-5 A (makers' manuals and trade press); used where a load states no figure."""

WINDING_SHARE = 0.4
"""A motor's winding of its voltage / current: 1 ohm for a 5 A pump, inside the 0.2-3 ohm of makers' manuals."""

FIGURES_FOR_V = 12.0
"""Figures in volts are stated for this system."""


@dataclass(frozen=True)
class Circuit(Wiring):
    """A chain of parts, the battery first, and its branches.

    Node k is the one after part k. The chain's last node is battery -; a branch's last one is where it joins again.

    Attributes:
        name: what to call it.
        system_v: 12 or 24, V.
        parts: the chain's, in the order the current flows, then each branch's.
        points: where probes can touch.
        active: the states in which the circuit is switched on when all is well.
        near: what all of it is near; None where nobody said.
        branches: what stands beside the chain: other loads, bypasses.
    """

    name: str
    system_v: float
    parts: tuple[Part, ...]
    points: tuple[Point, ...]
    active: tuple[str, ...] = ("key_on", "prime", "crank", "run")
    near: tuple[str, ...] | None = None
    branches: tuple[Branch, ...] = ()

    @cached_property
    def point_of(self) -> Mapping[str, Point]:
        """Each point by id."""
        return {point.id: point for point in self.points}

    @cached_property
    def carried_a(self) -> NDArray[np.float64]:
        """Return what each part carries when all is well and all loads are on, A, (n,); a bypass as the chain."""
        amps = [0.0 if k is None else self.own_a(k) for k in self.branch_loads]
        found = np.abs(np.array([*amps, self.load_a]) @ self.loops.loop)
        for inside, k in zip(self.branch_positions, self.branch_loads, strict=True):
            if k is None:
                found[inside] = found[self.before[inside[0]] + 1]
        return found

    @cached_property
    def load_a(self) -> float:
        """The current of the chain's load when good, A; see `own_a`."""
        return self.own_a(self.load)

    def own_a(self, k: int) -> float:
        """The current of a good load at the system voltage, A; from its resistance if that is stated (never for a
        motor)."""
        part = self.parts[k]
        if part.resistance_ohm and part.kind == "load":
            return self.system_v / part.resistance_ohm
        if part.current_a is not None:
            return part.current_a
        return DEFAULT_LOAD_A

    @cached_property
    def winding_ohm(self) -> float:
        """The resistance of the chain's load at rest, ohm; see `winding_of`."""
        return self.winding_of(self.load)

    def winding_of(self, k: int) -> float:
        """A load's own resistance at rest, ohm: as stated; else from its current, a motor's by `WINDING_SHARE`."""
        part = self.parts[k]
        ratio = self.system_v / self.own_a(k)
        if part.resistance_ohm is not None:
            return part.resistance_ohm
        return WINDING_SHARE * ratio if part.kind == "motor" else ratio

    @property
    def volts_scale(self) -> float:
        """The factor for figures that are stated for a 12 V system."""
        return self.system_v / FIGURES_FOR_V

    @cached_property
    def plug(self) -> tuple[int, ...]:
        """The positions of what 'unplugged' takes apart at the chain's load; see `plug_of`."""
        return self.plug_of(self.load)

    def plug_of(self, load: int) -> tuple[int, ...]:
        """The positions of what unplugging a load takes apart: the connectors next to it, or else the load itself."""
        inside = next(strand for strand in (self.chain, *self.branch_positions) if load in strand)
        beside = (k for k in (load - 1, load + 1) if k in inside and self.parts[k].kind == "connector")
        return tuple(beside) or (load,)

    @property
    def turns_engine(self) -> bool:
        """True for the starter's own circuit: one that is on only while cranking. If its load does not pull in, the
        engine does not turn, and the battery stays at its resting voltage."""
        return set(self.active) == {"crank"}

    @property
    def charges(self) -> bool:
        """True if the load is the vehicle's battery and the first part is its charger: battery - is then the load's own
        terminal. Such a load has a voltage of its own."""
        return BATTERY_MINUS in self.point_of and self.node(BATTERY_MINUS) == self.load

    def node(self, id_: str) -> int:
        """The node of a point, or the node after a part; `battery_minus` is always known.

        Raises:
            CircuitError: no point or part of that id, with the near ones.
        """
        if id_ in self.point_of:
            return self.after[self.part_index[self.point_of[id_].after]]
        if id_ in self.part_index:
            return self.after[self.part_index[id_]]
        if id_ == BATTERY_MINUS:
            return self.minus
        raise CircuitError(f"the circuit '{self.name}' has no point or part '{id_}'{near(id_, self.ids())}")

    def ends(self, at: str, to: str) -> tuple[int, int]:
        """The nodes of two probes; of a part alone those before and behind it, of the battery its plus first.

        Raises:
            CircuitError: there is no such place.
        """
        if at == to and at in self.part_index:
            k = self.part_index[at]
            return self.across(k) if self.parts[k].kind != "battery" else (k, self.minus)
        return self.node(at), self.node(to)

    @property
    def apart(self) -> tuple[int, int]:
        """The nodes on the two sides of what 'unplugged' takes apart at the chain's load."""
        return self.apart_at(self.load)

    def apart_at(self, load: int) -> tuple[int, int]:
        """The nodes on the two sides of what unplugging a load takes apart."""
        plug = self.plug_of(load)
        return self.before[plug[0]], self.after[max(plug[-1], load)]

    @cached_property
    def faces(self) -> tuple[str, str] | None:
        """The points on the harness side of the chain's load's plug; see `faces_of`."""
        return self.faces_of(self.load)

    def faces_of(self, load: int) -> tuple[str, str] | None:
        """The points on the harness side of a load's plug, feed and ground; None where a probe cannot reach them."""
        at_node = {self.node(point.id): point.id for point in self.points}
        before, after = self.apart_at(load)
        return (at_node[before], at_node[after]) if before in at_node and after in at_node else None

    def touched(self, id_: str) -> tuple[Part, ...]:
        """The parts that are within reach of who is at a place: a point's two neighbours, a part itself, a command's
        part."""
        if id_ in self.commands:
            return (self.parts[self.commands[id_]],)
        if id_ in self.part_index:
            return (self.parts[self.part_index[id_]],)
        node = self.node(id_)
        return tuple(part for k, part in enumerate(self.parts) if node in (self.after[k], self.before[k]))

    def near_of(self, ids: Iterable[str]) -> frozenset[str] | None:
        """Give everything that places, points, parts and commands are near; None if the circuit leaves some of it
        unsaid.

        What a point says of itself stands for it; otherwise what its two neighbours say.

        Raises:
            CircuitError: there is no such place.
        """
        said: list[tuple[str, ...] | None] = []
        for id_ in ids:
            own = self.point_of[id_].near if id_ in self.point_of else None
            said += [part.near for part in self.touched(id_)] if own is None else [own]
        if self.near is None and (not said or None in said):
            return None
        return frozenset(word for words in (self.near, *said) for word in words or ())

    def ids(self) -> list[str]:
        """All ids of points, parts and commands."""
        return [*self.point_of, *self.part_index, *self.commands, BATTERY_MINUS]

    def healthy_ohm(self) -> NDArray[np.float64]:
        """Each part's series resistance when good, ohm, shape (n,); the place of the chain's load holds 0 (see
        `solve`), a branch's load counts as a plain resistance."""
        values = []
        for k, part in enumerate(self.parts):
            if k == self.load:
                values.append(0.0)
            elif part.kind == "battery":
                values.append(HEALTHY_OHM["battery"] if part.resistance_ohm is None else part.resistance_ohm)
            elif k in self.loads:
                values.append(self.system_v / self.own_a(k))
            elif part.resistance_ohm is not None:
                values.append(part.resistance_ohm)
            else:
                scale = DEFAULT_LOAD_A / self.carried_a[k]
                values.append(scale * HEALTHY_OHM.get(part.kind, OTHER_HEALTHY_OHM))
        return np.array(values)
