"""Reads codes of segments as characters where which bit is which segment is not wholly known.

A code is read as a digit only where every wiring that is left either reads it so or makes no character of it: so
nothing is read that two wirings would read differently, and a digit that was never shown is read once the others tell
its wires.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import EITHER, GLYPHS, SEGMENTS, Features
from meterlog_drivers.teach.digits.wires import Possible

MOST_WIRINGS, MOST_WIRES = 200, 11
"""Wirings of a digit, and bits that they use in all, beyond which it is not known well enough to be read; a choice."""
LETTERS = ("def", "adefg", "aefg", "bcefg", "abcefg", "cdefg", "adef", "deg", "bcdeg", "eg", "cdeg", "abefg", "defg",
           "bcdef", "cde", "g", "d", "ceg", "bcdfg")  # fmt: skip
"""Other characters that displays show: L E F H A b C c d r o P t U u - _ n y."""


class Wires(NamedTuple):
    """A digit's bits in a frame, whether each is inverted, and what their codes mean, the first bit the highest."""

    bits: tuple[tuple[int, bool], ...]
    codes: dict[int, str]


def wires_of(possible: Possible, features: Features, place: int) -> Wires | None:
    """A digit's bits, and those of their codes that are sure; None where too much is open.

    A segment that always stood as it was seen is not among them: its bit never changed, and a frame in which it does
    shows something that was never taught.
    """
    either = possible[0, place] | possible[1, place]
    at = np.flatnonzero(either.any(axis=0))
    if not 0 < len(at) <= MOST_WIRES:
        return None
    turned = possible[1, place].any(axis=0)[at].tolist()
    segments = np.flatnonzero(either.any(axis=1)).tolist()
    choices = [np.flatnonzero(either[k][at]).tolist() for k in segments]
    wirings = []
    for wiring in _wirings(choices):
        wirings.append(wiring)
        if len(wirings) > MOST_WIRINGS:
            return None
    codes = np.arange(1 << len(at))
    lit = codes[:, None] >> np.arange(len(at))[::-1] & 1  # shape (codes, bits), the first bit the highest
    read = _characters(features[place], segments)
    weights = 1 << np.arange(len(segments))
    means = read[(lit[:, np.array(wirings)] * weights).sum(axis=2)]
    some, most = np.where(means < 0, NEVER, means).min(axis=1), means.max(axis=1)
    sure = {int(code): _text(int(most[code])) for code in np.flatnonzero((some == most) & (most <= BLANK))}
    return Wires(tuple(zip(at.tolist(), turned, strict=True)), sure)


def _wirings(choices: Sequence[Sequence[int]], taken: tuple[int, ...] = ()) -> Iterator[tuple[int, ...]]:
    """Every way to give each segment a bit of its own."""
    if len(taken) == len(choices):
        yield taken
        return
    for bit in choices[len(taken)]:
        if bit not in taken:
            yield from _wirings(choices, (*taken, bit))


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
        code = sum(1 << n for n, k in enumerate(segments) if SEGMENTS[k] in lit)
        read[code] = value if read[code] in (-1, value) else LETTER
    return read


def alone(value: int, features: NDArray[np.int8]) -> bool:
    """Tell whether what was found of a place's segments tells a digit from all others."""
    varying = (features.min(axis=1) < 0) & (features.max(axis=1) > 0)
    known = {segment for k, segment in enumerate(SEGMENTS) if varying[k] or k in _always(features)}
    own = {shape & known for of, shape in SHAPES if of == value}
    return not any(shape & known in own for of, shape in SHAPES if of != value)
