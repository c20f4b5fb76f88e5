"""Tells where readings come faster than the display changes: how many of them repeat one look at the circuit."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

_EVIDENCE = 10.0
"""Runs count as a polled display's where chance would leave them so long with at most exp(-10), 5 in 100,000: a choice
that takes 11 to 15 runs of one look each."""
LEAST_RUNS = 6
"""Fewer runs tell nothing: a guess."""
_SHORT_SHARE = 0.05
"""At most this share of the runs may be shorter: what a change at the edge of a poll, or a lost reading, cuts off.
A guess."""
_SPREAD = 1.4
"""Runs up to this many times the shortest are one look long, for the display's own jitter: a guess."""
_ALIKE_SHARE = 0.5
"""At least this share of the runs must be one look long: digits that change by noise at a calm supply leave runs of all
lengths, fewer the longer, and then nothing is said. A choice."""
_PAIRS = 128
"""Pairs of readings that tell a display read twice a look: a choice; clocks keep step for so long."""
_BOTH_SHARE = 0.02
"""At most this share of the pairs may hold two changes: what a lost reading shifts. A guess."""


def readings_a_look(value: NDArray[np.float64]) -> float | None:
    """Estimate how many readings repeat one look, from the lengths of runs of one value, shape (n,).

    A display that is polled m times a look changes its digits after m readings or a multiple of that, never sooner.

    Returns:
        m, 1 and above; None where there are too few runs to tell.
    """
    changes = np.flatnonzero(value[1:] != value[:-1])
    lengths = np.diff(changes)  # whole runs only
    if len(lengths) < LEAST_RUNS:
        return None
    lengths.sort()
    shortest = int(lengths[int(_SHORT_SHARE * (len(lengths) - 1))])
    if shortest < 2:
        return 2.0 if _twice(value) else 1.0
    alike = lengths[(lengths >= shortest) & (lengths <= max(shortest + 1, _SPREAD * shortest))]
    if len(alike) < _ALIKE_SHARE * len(lengths):
        return None
    repeated = 1.0 - 1.0 / float(lengths.mean())  # so likely it is by chance that a reading repeats the one before
    rises = value[changes + 1] > value[changes]
    turns = np.count_nonzero(rises[1:] != rises[:-1])  # what rises or falls evenly has even runs as well
    if -math.log(repeated) * (shortest - 1) * turns < _EVIDENCE:
        return None
    return float(alike.mean())


def _twice(value: NDArray[np.float64]) -> bool:
    """Tell whether each look is read twice, where polls and display keep such step that runs are 1 to 3 long.

    Then the readings fall into pairs in which the digits change at most once.
    """
    changes = value[1:] != value[:-1]
    if len(changes) <= 2 * _PAIRS:
        return False
    for shift in (0, 1):
        pairs = changes[len(changes) - shift - 2 * _PAIRS : len(changes) - shift].reshape(_PAIRS, 2)
        by_chance = float(pairs.mean()) ** 2 * _PAIRS  # pairs that would hold two, did no pair belong together
        if by_chance >= _EVIDENCE and np.count_nonzero(pairs.all(axis=1)) <= _BOTH_SHARE * _PAIRS:
            return True
    return False
