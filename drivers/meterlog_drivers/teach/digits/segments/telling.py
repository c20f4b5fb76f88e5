"""Says which digit, shown in which place, tells most of what is open about scattered segments.

Two bits that have been alike in all that was shown may belong to two places, and then no digit of either place is read
with certainty. A digit tells them apart that needs one of them as the other one seldom is.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import lit_segments, segment_features, varied
from meterlog_drivers.teach.digits.segments.characters import wires_of
from meterlog_drivers.teach.digits.segments.wires import Solved
from meterlog_drivers.teach.moments import Label

DIGITS = range(10)
STILL = 4
"""Bits of a frame that never change, to which a segment that never changed may belong: reckoned as so many (guess)."""
LIT_SHARE = np.mean([np.array(lit_segments(value)) > 0 for value in DIGITS], axis=0)
"""The share of digits in which each segment is lit."""
LEAST_TOLD = 0.1
"""Bits that a digit must exclude on average to be asked for; a guess."""


def parting_digits(labels: Sequence[Label]) -> list[tuple[int, int]]:
    """The places and digits that would tell most segments from others that were like them, what tells most first.

    Args:
        labels: what was shown; nothing is known of the bits yet.
    """
    features = segment_features(labels)
    places = len(features)
    varying = varied(features)
    flat = features.reshape(7 * places, -1).astype(np.int64)
    flat = np.concatenate([flat, np.ones((STILL, flat.shape[1]), dtype=np.int64)])
    agreement, known = flat @ flat.T, np.abs(flat) @ np.abs(flat).T
    alike = (np.abs(agreement) == known) & (known > 0)
    alike[:-STILL, :-STILL] &= np.outer(varying, varying)
    lit_share = np.append(np.tile(LIT_SHARE, places), np.ones(STILL))
    parted = {}
    for place, value in product(range(places), DIGITS):
        own = slice(7 * place, 7 * place + 7)
        wanted = np.array(lit_segments(value))[:, None] * agreement[own]
        other = np.where(wanted > 0, 1 - lit_share, lit_share) * (wanted != 0)
        other[:, own] = 0
        parted[place, value] = float(other[alike[own]].sum())
    return sorted(parted, key=lambda key: -parted[key])


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
    """Count the bits that may be a segment and would then not be as they are, by how often they have been set."""
    plain, inverted = solved.possible[:, place, segment]
    other = set_share if lit < 0 else 1 - set_share
    return float(other[plain].sum() + (1 - other)[inverted].sum())
