"""Says how a circuit's parts hang together: the nodes between them, and where current can flow."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from functools import cached_property

import numpy as np

from meterlog.circuit.model.loops import Branch, Loops, find_loops
from meterlog.circuit.model.part import Part


class Wiring:
    """The parts of a chain and of its branches, and the nodes between them.

    Node k is the one after part k. The chain's last node is battery -; a branch's last one is where it joins again.

    Attributes:
        parts: the chain's, in the order the current flows, then each branch's.
        branches: what stands beside the chain: other loads, bypasses.
    """

    parts: tuple[Part, ...]
    branches: tuple[Branch, ...]

    @cached_property
    def part_index(self) -> Mapping[str, int]:
        """Each part's position, by id."""
        return {part.id: k for k, part in enumerate(self.parts)}

    @cached_property
    def commands(self) -> Mapping[str, int]:
        """Each command's id with the position of the part that it closes."""
        return {part.command: k for k, part in enumerate(self.parts) if part.command}

    @cached_property
    def chain(self) -> range:
        """The positions of the chain's parts."""
        return range(len(self.parts) - sum(len(branch.parts) for branch in self.branches))

    @property
    def minus(self) -> int:
        """The node of battery -."""
        return self.chain[-1]

    @cached_property
    def load(self) -> int:
        """The position of the chain's load: the first motor, or else the first load."""
        kinds = [self.parts[k].kind for k in self.chain]
        return kinds.index("motor") if "motor" in kinds else kinds.index("load")

    @cached_property
    def branch_positions(self) -> tuple[range, ...]:
        """The positions of each branch's parts."""
        first = [self.part_index[branch.parts[0]] for branch in self.branches]
        return tuple(range(k, k + len(branch.parts)) for k, branch in zip(first, self.branches, strict=True))

    @cached_property
    def branch_loads(self) -> tuple[int | None, ...]:
        """The position of each branch's load: its first motor or load; None for a bypass."""
        return tuple(
            next((k for k in inside if self.parts[k].kind in ("motor", "load")), None)
            for inside in self.branch_positions
        )

    @cached_property
    def loads(self) -> tuple[int, ...]:
        """The positions of all that the circuit feeds, the chain's load first."""
        return (self.load, *(k for k in self.branch_loads if k is not None))

    @cached_property
    def after(self) -> tuple[int, ...]:
        """The node behind each part."""
        found = list(range(len(self.parts)))
        for branch, inside in zip(self.branches, self.branch_positions, strict=True):
            found[inside[-1]] = found[self.part_index[branch.to]]
        return tuple(found)

    @cached_property
    def before(self) -> tuple[int, ...]:
        """The node before each part."""
        found = [k - 1 for k in range(len(self.parts))]
        found[0] = self.minus
        for branch, inside in zip(self.branches, self.branch_positions, strict=True):
            found[inside[0]] = self.after[self.part_index[branch.after]]
        return tuple(found)

    @cached_property
    def loops(self) -> Loops:
        """The way to each node, and the loops in which current flows."""
        cuts = [
            inside[-1] if k is None else k for inside, k in zip(self.branch_positions, self.branch_loads, strict=True)
        ]
        return find_loops(
            self.before, self.after, len(self.chain), self.load, list(zip(self.branch_positions, cuts, strict=True))
        )

    @cached_property
    def upstream(self) -> tuple[tuple[int, ...], ...]:
        """For each part, the positions of those that its current has passed since battery -, in that order."""
        found = [tuple(range(k)) for k in self.chain]
        for branch, inside in zip(self.branches, self.branch_positions, strict=True):
            leaves = self.part_index[branch.after]
            found += [(*found[leaves], leaves, *range(inside[0], k)) for k in inside]
        return tuple(found)

    @cached_property
    def downstream(self) -> tuple[tuple[int, ...], ...]:
        """For each part, the positions of those that its current passes on its way to battery -, in that order."""
        found = [tuple(self.chain[k + 1 :]) for k in self.chain]
        for branch, inside in zip(self.branches, self.branch_positions, strict=True):
            joins = found[self.part_index[branch.to]]
            found += [(*range(k + 1, inside.stop), *joins) for k in inside]
        return tuple(found)

    @cached_property
    def on_feed_side(self) -> tuple[bool, ...]:
        """Tell for the node behind each part whether it lies before the load that it leads to; a bypass lies where it
        leaves."""
        found = [k < self.load for k in self.chain]
        for branch, inside, load in zip(self.branches, self.branch_positions, self.branch_loads, strict=True):
            leaves = found[self.part_index[branch.after]]
            found += [leaves if load is None else k < load for k in inside]
        return tuple(found)

    @cached_property
    def order(self) -> tuple[float, ...]:
        """Where the node behind each part stands as the current flows; a branch's nodes lie right behind where it
        leaves, and those behind its load right before where it joins."""
        found = [float(k) for k in self.chain]
        for branch, inside in zip(self.branches, self.branch_positions, strict=True):
            leaves, joins = found[self.part_index[branch.after]], found[self.part_index[branch.to]]
            step = (joins - leaves) / (len(inside) * len(self.parts))
            found += [
                leaves + step * (k - inside[0] + 1) if self.on_feed_side[k] else joins - step * (inside[-1] - k)
                for k in inside
            ]
        return tuple(found)

    def bypassed(self, k: int) -> bool:
        """Tell whether a bypass of the file leads past a part."""
        loops = zip(self.branch_loads, self.loops.loop[:-1], strict=True)
        return any(load is None and row[k] < 0 for load, row in loops)

    @cached_property
    def fuse(self) -> int | None:
        """The position of the first fuse that the chain's load hangs on; None where there is none."""
        return next((k for k in self.chain if self.parts[k].kind == "fuse"), None)

    @cached_property
    def serving(self) -> frozenset[int]:
        """The positions of all that the chain's load hangs on: the chain, and the bypasses; no other load's branch."""
        past = [inside for inside, load in zip(self.branch_positions, self.branch_loads, strict=True) if load is None]
        return frozenset(k for inside in (self.chain, *past) for k in inside)

    def joined(self, apart: Collection[int]) -> tuple[int, ...]:
        """Give the same number to all nodes between which a way is left once the parts at some positions are out."""
        found = list(range(len(self.parts)))
        for k in range(len(self.parts)):
            one, other = (found[node] for node in self.across(k))
            if k not in apart and one != other:
                found = [one if group == other else group for group in found]
        return tuple(found)

    def across(self, k: int) -> tuple[int, int]:
        """The nodes before and behind a part."""
        return self.before[k], self.after[k]

    def between(self, i: int, j: int) -> tuple[int, ...]:
        """The positions of the parts on the way from one node to another; never through the battery."""
        way = self.loops.way[i] - self.loops.way[j]
        return tuple(np.flatnonzero(way - way[0] * self.loops.loop[-1]).tolist())
