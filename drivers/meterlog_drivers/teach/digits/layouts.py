"""The layouts in which the bits of a number may lie in a frame, and how well each explains what was shown.

A layout is an array of frame bits, shape (places, bits of a digit), the units and the lowest bit first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import Features
from meterlog_drivers.teach.digits.number_fit import Bits

Misses = NDArray[np.int64]
"""Says how often each frame bit contradicts each feature: shape (places, bits of a digit, bits of a frame)."""

_STEPS = tuple(sign * n for n in (4, 8, 12, 16, 20, 24, 32, 5, 6, 7) for sign in (-1, 1))
"""Distances of one digit from the next, in bits; the first byte holds the highest digit where they are negative."""
_PAIRS = tuple((near, far) for near in (-4, 4) for far in (-16, -8, 8, 16) if abs(far) > abs(near))
"""Two digits a byte, and the next two a constant distance away."""
_FAR = 10**6
_MOST_TIED = 12
"""Bits that a digit's code may have while some of them are open; more would be guessing."""


class Layout(NamedTuple):
    """A layout and what speaks against it.

    Attributes:
        at: the frame bit of each place and bit, and further ones that fit as well; -1 for none.
        misses: contradictions in all.
        regular: the places are alike, a constant step apart.
    """

    at: NDArray[np.int64]
    misses: int
    regular: bool


def step_patterns(places: int) -> Iterator[NDArray[np.int64]]:
    """The distances of each place from the units."""
    place = np.arange(places)
    for step in _STEPS if places > 1 else (8,):
        yield place * step
    if places > 2:
        for near, far in _PAIRS:
            yield place % 2 * near + place // 2 * far


def _together(misses: Misses) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64]]]:
    """For each regular layout the distances of its places from the units, and the misses of all places together.

    Those have the shape (bits of a digit, bits of a frame), by the frame bit of the units.
    """
    places, _, size = misses.shape
    beyond = max(map(abs, _STEPS)) * places
    padded = np.pad(misses, ((0, 0), (0, 0), (beyond, beyond)), constant_values=_FAR)
    for offsets in step_patterns(places):
        parts = [padded[place, :, beyond + at : beyond + at + size] for place, at in enumerate(offsets.tolist())]
        yield offsets, np.sum(parts, axis=0)


def _nibbles(total: NDArray[np.int64]) -> Iterator[tuple[NDArray[np.int64], int]]:
    """Four neighbouring bits for a digit, in either order: where, and the misses."""
    size = total.shape[1]
    for direction in (-1, 1):
        low = np.arange(size)
        at = low[None, :] + direction * np.arange(4)[:, None]
        inside = ((at >= 0) & (at < size)).all(axis=0)
        misses = np.where(inside, np.take_along_axis(total, at.clip(0, size - 1), axis=1).sum(axis=0), _FAR)
        for n in np.flatnonzero(misses < min(_FAR, misses.min() + 1)):
            yield at[:, n], int(misses[n])


def nibble_codes(bits: NDArray[np.bool_]) -> Iterator[NDArray[np.int64]]:
    """The value of four neighbouring bits by where the lowest is, in either order: shape of the bits; -1 outside."""
    size = bits.shape[1]
    for direction in (-1, 1):
        at = np.arange(size)[None, :] + direction * np.arange(4)[:, None]
        inside = ((at >= 0) & (at < size)).all(axis=0)
        value = (bits[:, at.clip(0, size - 1)] << np.arange(4)[None, :, None]).sum(axis=1)
        yield np.where(inside, value, -1)


def decimal_layouts(misses: Misses) -> list[Layout]:
    """Digits of four neighbouring bits, a constant step apart; else each where it fits alone."""
    places = len(misses)
    found = [
        Layout(at[None, :] + offsets[:, None], count, True)
        for offsets, total in _together(misses)
        for at, count in _nibbles(total)
    ]
    alone = [list(_nibbles(misses[place])) for place in range(places)]
    if all(len(choices) == 1 for choices in alone):  # by itself, each must be the only one
        rows = [choices[0] for choices in alone]
        found.append(Layout(np.array([at for at, _ in rows]), sum(count for _, count in rows), False))
    return _fewest(found)


def segment_layouts(misses: Misses, varying: NDArray[np.bool_]) -> list[Layout]:
    """Seven bits a digit in any wiring, the same for each digit, a constant step apart.

    Args:
        misses: see `Misses`.
        varying: which segments were both lit and dark; of the others no bit is looked for.
    """
    found = []
    for offsets, total in _together(misses):
        at, count = _wiring(total, varying)
        if len(at) <= _MOST_TIED:
            rows = np.where(at >= 0, at + offsets[:, None], -1)
            found.append(Layout(rows, count, True))
    return _fewest(found)


def _wiring(total: NDArray[np.int64], varying: NDArray[np.bool_]) -> tuple[NDArray[np.int64], int]:
    """The best bit of each feature, and behind them those that fit as well: which is which then stays open."""
    best = total.min(axis=1)
    fitting = [set(np.flatnonzero(row).tolist()) for row in total[varying] == best[varying, None]]
    own = _chosen(fitting)
    known = int(varying.sum())
    at = np.full(len(total), -1)
    at[varying] = own[:known]
    return np.array([*at.tolist(), *own[known:]]), int(best[varying].sum()) + _FAR * (-1 in own)


def _chosen(fitting: Sequence[set[int]]) -> list[int]:
    """One bit for each feature, -1 where none is left, and behind them the others that fit."""
    at: list[int] = []
    for bits in fitting:
        at.append(min(bits - set(at), default=-1))
    return at + sorted(set().union(*fitting) - set(at))


def integer_layouts(misses: Misses, used: int) -> list[Layout]:
    """The bits of a number in whole bytes, in either order of bytes and bits.

    Args:
        misses: of one place.
        used: bits that the numbers shown have.
    """
    size = misses.shape[2]
    bit = np.arange(used)
    found = []
    for first, order, low in product(range(size // 8), (-1, 1), (7, 0)):
        at = 8 * (first + order * (bit // 8)) + (low - bit % 8 if low else bit % 8)
        if (at >= 0).all() and (at < size).all():
            found.append(Layout(at[None, :], int(misses[0, bit, at].sum()), True))
    return _fewest(found)


def _fewest(found: Sequence[Layout]) -> list[Layout]:
    """Those with the fewest contradictions that use no bit twice."""
    fewest: list[Layout] = []
    for one in sorted(found, key=lambda one: one.misses):
        if one.misses >= (fewest[0].misses + 1 if fewest else _FAR):
            break
        if _once(one.at):
            fewest.append(one)
    return fewest


def _once(at: NDArray[np.int64]) -> bool:
    """Tell whether no bit is used twice, and all are inside of the frame's beginning."""
    known = [bit for bit in at.ravel().tolist() if bit != -1]
    return min(known, default=0) >= 0 and len(set(known)) == len(known)


def best_of(layouts: Sequence[Layout]) -> list[Layout]:
    """Regular ones alone where there are any."""
    return [one for one in layouts if one.regular] or list(layouts)


def contradicting(layout: Layout, wanted: Features, inverted: Bits, frame: Bits) -> int:
    """Return how many bits of one frame are not as a number wants them."""
    at = layout.at[:, : wanted.shape[1]]
    known = at >= 0
    place, k = np.nonzero(known)
    is_set = frame[at[known]] != inverted[place, k, at[known]]
    target = wanted[place, k]
    return int(((target != 0) & (is_set != (target > 0))).sum())


def explained(layout: Layout, features: Features, inverted: Bits, bits: Bits) -> Bits:
    """Tell which moments a layout explains."""
    right = np.ones(len(bits), dtype=np.bool_)
    for (place, k), at in np.ndenumerate(layout.at[:, : features.shape[1]]):
        if at >= 0:
            wanted = features[place, k]
            right &= (wanted == 0) | ((bits[:, at] != inverted[place, k, at]) == (wanted > 0))
    return right
