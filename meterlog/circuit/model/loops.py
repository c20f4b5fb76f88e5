"""Where current can flow: the way from battery - to every node, and the loops that close it.

Opened at one part a loop (the chain at its load, each branch at its own load), a circuit is a tree. Every node is then
reached on one way only, and every part at which a loop was opened closes one loop through that tree. Kirchhoff's
voltage law over those loops is all that `solve` needs, however the branches fork.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Branch:
    """Parts beside the chain: they leave it behind one part and join it again behind another.

    Attributes:
        id: its name.
        after: the part behind which it leaves; of the chain, or of a branch that is listed before.
        to: the part behind which it joins again.
        parts: the ids of its parts, in the order the current flows.
    """

    id: str
    after: str
    to: str
    parts: tuple[str, ...]


@dataclass(frozen=True)
class Loops:
    """A circuit's ways and loops, over its N parts.

    Attributes:
        way: shape (N, N), the parts on the way from battery - to each node; +1 where the way runs as the current does.
        loop: shape (L, N), the parts of each loop in the same sense; the branches' in their order, the chain's last.
        cut: the part at which each loop is opened.
    """

    way: Array
    loop: Array
    cut: tuple[int, ...]


def find_loops(
    before: Sequence[int], after: Sequence[int], chain: int, load: int, branches: Sequence[tuple[range, int]]
) -> Loops:
    """Find the ways and loops of a chain of `chain` parts around its load, and of branches.

    Args:
        before: the node before each part.
        after: the node behind each part.
        chain: parts of the chain; its last node is battery -.
        load: the position of its load.
        branches: each branch's positions, and the one at which it is opened.
    """
    one = np.eye(len(before))
    way = np.zeros_like(one)
    for k in range(load):
        way[k] = way[before[k]] + one[k]
    for k in range(chain - 1, load, -1):
        way[k - 1] = way[k] - one[k]
    for parts, cut in branches:
        for k in range(parts.start, cut):
            way[k] = way[before[k]] + one[k]
        way[parts[-1]] = way[after[parts[-1]]]
        for k in range(parts[-1], cut, -1):
            way[k - 1] = way[k] - one[k]
    cuts = (*(cut for _, cut in branches), load)
    loop = np.array([one[k] + way[before[k]] - way[k] for k in cuts])
    return Loops(way, loop, cuts)
