"""Reads codes of segments as characters where which bit is which segment is not wholly known.

A code is read as a digit only where every wiring that is left either reads it so or makes no character of it: so
nothing is read that two wirings would read differently, and a digit that was never shown is read once the others tell
its wires.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import EITHER, GLYPHS, SEGMENTS, Features, varied
from meterlog_drivers.teach.digits.segments.wires import Possible

MOST_WIRINGS, MOST_WIRES = 200, 11
"""Wirings of a digit, and bits that they use in all, beyond which it is not known well enough to be read; a choice."""
LETTERS = ("def", "adefg", "aefg", "bcefg", "abcefg", "cdefg", "adef", "deg", "bcdeg", "eg", "cdeg", "abefg", "defg",
           "bcdef", "cde", "g", "d", "ceg", "bcdfg")  # fmt: skip
"""Other characters that displays show: L E F H A b C c d r o P t U u - _ n y."""


class Wires(NamedTuple):
    """A digit's bits in a frame and how they are read.

    Attributes:
        bits: where, and whether each is inverted, the highest of the code first.
        codes: what those that are sure mean.
        unread: some code that may be a digit is not among those.
    """

    bits: tuple[tuple[int, bool], ...]
    codes: dict[int, str]
    unread: bool


def wires_of(possible: Possible, features: Features, place: int) -> Wires | None:
    """A digit's bits, and those of their codes that are sure; None where too much is open.

    A segment that always stood as it was seen is not among them: its bit never changed, and a frame in which it does
    shows something that was never taught.
    """
    either = possible[0, place] | possible[1, place]
    at = np.flatnonzero(either.any(axis=0))
    if not 0 < len(at) <= MOST_WIRES:
        return None
    turned = (possible[1, place].any(axis=0) & ~possible[0, place].any(axis=0))[at]
    segments = np.flatnonzero(either.any(axis=1)).tolist()
    # a bit may be one segment as it is, and another one inverted
    choices = [[(int(n), int(way)) for way, n in np.argwhere(possible[:, place, k][:, at])] for k in segments]
    wirings = []
    for wiring in _wirings(choices):
        wirings.append(wiring)
        if len(wirings) > MOST_WIRINGS:
            return None
    codes = np.arange(1 << len(at))
    lit = codes[:, None] >> np.arange(len(at))[::-1] & 1  # shape (codes, bits), the first bit the highest
    read = _characters(features[place], segments)
    weights = 1 << np.arange(len(segments))
    which, ways = np.moveaxis(np.array(wirings), 2, 0)  # each of shape (wirings, segments)
    shapes = ((lit[:, which] ^ ways ^ turned[which]) * weights).sum(axis=2)
    means = read[shapes]
    some, most = np.where(means < 0, NEVER, means).min(axis=1), means.max(axis=1)
    sure = {int(code): _text(int(most[code])) for code in np.flatnonzero((some == most) & (most <= BLANK))}
    usual = np.isin(shapes, [_shape(lit, segments) for lit in GLYPHS]) & (means >= 0)
    unread = not sure.keys() >= set(np.flatnonzero(usual.any(axis=1)).tolist())
    return Wires(tuple(zip(at.tolist(), turned.tolist(), strict=True)), sure, unread)


Way = tuple[int, int]
"""A bit and whether it is inverted."""


def _wirings(choices: Sequence[Sequence[Way]], taken: tuple[Way, ...] = ()) -> Iterator[tuple[Way, ...]]:
    """Every way to give each segment a bit of its own."""
    if len(taken) == len(choices):
        yield taken
        return
    for bit, way in choices[len(taken)]:
        if all(bit != other for other, _ in taken):
            yield from _wirings(choices, (*taken, (bit, way)))


BLANK, LETTER, NEVER = 10, 11, 99
"""Stand for no digit: a dark place, another character; and for more than any."""


def _text(meaning: int) -> str:
    return " " if meaning == BLANK else str(meaning)


SHAPES = (
    *((value, frozenset(lit)) for value, lit in enumerate(GLYPHS)),
    *((value, frozenset(GLYPHS[value]) ^ {segment}) for value, segment in EITHER.items()),
    (BLANK, frozenset[str]()),
)
"""The shapes of digits and of a dark place."""


def _always(features: NDArray[np.int8]) -> dict[int, int]:
    """The segments that were lit, 1, or dark, -1, in everything that was shown."""
    return {k: int(row[0]) for k, row in enumerate(features) if abs(int(row.sum())) == len(row)}


def _characters(features: NDArray[np.int8], segments: Sequence[int]) -> NDArray[np.int64]:
    """The characters that the known segments make, by which of them are lit: -1 for none, LETTER for several.

    Segments beside them are as they always were, where that is known.
    """
    always = _always(features)
    known = {shape for _, shape in SHAPES}
    letters = [(LETTER, frozenset(lit)) for lit in LETTERS if frozenset(lit) not in known]
    read = np.full(1 << len(segments), -1, dtype=np.int64)
    for value, lit in (*SHAPES, *letters):
        if any((SEGMENTS[k] in lit) != (state > 0) for k, state in always.items()):
            continue
        code = _shape(lit, segments)
        read[code] = value if read[code] in (-1, value) else LETTER
    return read


def _shape(lit: Collection[str], segments: Sequence[int]) -> int:
    """Which of the known segments are lit, as a number."""
    return sum(1 << n for n, k in enumerate(segments) if SEGMENTS[k] in lit)


def alone(value: int, features: NDArray[np.int8]) -> bool:
    """Tell whether what was found of a place's segments tells a digit from all others."""
    varying = varied(features, axis=1)
    known = {segment for k, segment in enumerate(SEGMENTS) if varying[k] or k in _always(features)}
    own = {shape & known for of, shape in SHAPES if of == value}
    return not any(shape & known in own for of, shape in SHAPES if of != value)
