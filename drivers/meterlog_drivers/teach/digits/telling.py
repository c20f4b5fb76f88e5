"""Says which digit, shown in which place, tells most of what is open about the wires of segments.

Two bits that have been alike in all that was shown may belong to two places, and then no digit of either place is read
with certainty. A digit tells them apart that needs one of them as the other one seldom is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.characters import wires_of
from meterlog_drivers.teach.digits.features import lit_segments
from meterlog_drivers.teach.digits.wires import Solved

DIGITS = range(10)
LEAST_TOLD = 0.1
"""Bits that a digit must exclude on average to be asked for; a guess."""


def telling_digits(solved: Solved) -> tuple[tuple[int, int], ...]:
    """The places and digits to show, what tells most first; empty where every digit is read."""
    either = solved.possible[0] | solved.possible[1]
    open_places = [place for place in range(len(either)) if _is_open(solved, place)]
    concerned = either[open_places].any(axis=(0, 1))
    set_share = np.mean([own[0] for own in solved.frames], axis=0)
    told = {}
    for place, segments in enumerate(either):
        several = (segments.sum(axis=1) > 1) & (segments & concerned).any(axis=1)
        for value in DIGITS:
            told[place, value] = sum(
                _excluded(solved, place, int(k), lit, set_share)
                for k in np.flatnonzero(several)
                if (lit := lit_segments(value)[k])
            )
    return tuple(key for key in sorted(told, key=lambda key: -told[key]) if told[key] >= LEAST_TOLD)


def _is_open(solved: Solved, place: int) -> bool:
    wires = wires_of(solved.possible, solved.features, place)
    return wires is not None and bool(wires.unread)


def _excluded(solved: Solved, place: int, segment: int, lit: int, set_share: NDArray[np.float64]) -> float:
    """How many bits that may be a segment would not be as it is, by how often they have been set."""
    plain, inverted = solved.possible[:, place, segment]
    other = set_share if lit < 0 else 1 - set_share
    return float(other[plain].sum() + (1 - other)[inverted].sum())
