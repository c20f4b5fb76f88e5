"""Finds the segments of digits whose wires lie anywhere in a frame, as an exact problem of constraints.

Each segment of each place is one bit of the frame, plain or inverted; no bit is two segments; and of the frames near a
moment, at least one shows what was typed. What contradicts that is taken away until nothing changes. A code is then
read as a digit only where every wiring that is left either reads it so or makes no character of it: so nothing is read
that two wirings would read differently, and a digit that was never shown is read once the others tell its wires.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import (
    EITHER,
    GLYPHS,
    SEGMENTS,
    Features,
    digit,
    in_front_of,
    segment_features,
)
from meterlog_drivers.teach.digits.number_fit import BitAt, NumberFit
from meterlog_drivers.teach.moments import Label

Frames = Sequence[NDArray[np.bool_]]
"""For each moment the frames that may have been on the display: shape (frames, bits)."""
Possible = NDArray[np.bool_]
"""Says which bits may be which segments: shape (inverted or not, places, segments, bits of a frame)."""

LEAST_NUMBERS = 8
"""Different numbers without which nothing is concluded; a guess."""
MOST_CHANCE = 0.1
"""Bits that may follow a segment by chance, all moments long, until digits are believed: each moment halves them."""

MOST_WIRINGS, MOST_WIRES = 200, 11
"""Wirings of a digit, and bits that they use in all, beyond which it is not known well enough to be read; a choice."""
LETTERS = ("def", "adefg", "aefg", "bcefg", "abcefg", "cdefg", "adef", "deg", "bcdeg", "eg", "cdeg", "abefg", "defg",
           "bcdef", "cde", "g", "d", "ceg", "bcdfg")  # fmt: skip
"""Other characters that displays show: L E F H A b C c d r o P t U u - _ n y."""


class Solved(NamedTuple):
    """Holds which bits may be which segments, what the segments should be, and the frames that are left."""

    possible: Possible
    features: Features
    frames: Frames


def find_scattered(labels: Sequence[Label], frames: Frames) -> NumberFit | None:
    """Find digits whose segments lie anywhere; None where too little was shown, or it contradicts itself.

    A moment without which all others agree is a slip, where it is the only such one.

    Args:
        labels: what was shown, without overloads.
        frames: near each.
    """
    if len(labels) < LEAST_NUMBERS:
        return None
    together = np.concatenate(frames)
    changing = int((together.any(axis=0) & ~together.all(axis=0)).sum())
    every = tuple(range(len(labels)))
    for tries in ([every], [every[:n] + every[n + 1 :] for n in every]):
        solved = []
        for kept in tries:
            numbers = len({labels[n].digits for n in kept})
            if numbers >= LEAST_NUMBERS and 2 * changing * 0.5 ** (numbers - 1) <= MOST_CHANCE:
                found = _solved([labels[n] for n in kept], [frames[n] for n in kept])
                solved += [(kept, found)] if found else []
        if len(solved) == 1:
            ((kept, found),) = solved
            return _fit([labels[n] for n in kept], kept, found)
    return None


def _solved(labels: Sequence[Label], frames: Frames) -> Solved | None:
    """Find which bits may be which segments, whatever stands in front of a number: dark places, or zeros.

    Where both are possible, nothing is known of those places but what was seen.
    """
    unknown = segment_features(labels)
    found = []
    for features in in_front_of(unknown):
        solved = possible_wires(features, frames)
        if solved is not None:
            found.append(solved)
    if len(found) < 2:
        return found[0] if found else None
    solved = possible_wires(unknown, frames)
    if solved is None:
        return None
    for place in range(len(unknown)):
        if not solved.possible[:, place].any():
            solved.possible[:, place] = found[0].possible[:, place]
            solved.features[place] = found[0].features[place]
    return solved


def _fit(labels: Sequence[Label], kept: tuple[int, ...], solved: Solved) -> NumberFit | None:
    places, tables = [], []
    for place in range(len(solved.features)):
        wires = wires_of(solved.possible, solved.features, place)
        if wires is None:
            return None
        bits = tuple(BitAt(*bit) for bit in wires.bits)
        shown = NumberFit("segments", (bits,), ({},), (), structured=False)
        codes = dict(wires.codes)
        for label, frames in sorted(zip(labels, solved.frames, strict=True), key=lambda row: -len(row[0].digits)):
            seen = {shown.code(frame, 0) for frame in frames}
            value = digit(label, place)
            if len(seen) == 1 and _alone(BLANK if value is None else value, solved.features[place]):
                codes.setdefault(seen.pop(), " " if value is None else str(value))
        places.append(bits)
        tables.append(codes)
    unsure = frozenset(_unsure(solved.possible))
    return NumberFit("segments", tuple(places), tuple(tables), kept, structured=False, regular=False, unsure=unsure)


def _unsure(possible: Possible) -> Iterator[int]:
    """The bits that may be none of a digit's: of some segments there are more than they need."""
    groups = [
        frozenset(np.flatnonzero(row).tolist()) for row in (possible[0] | possible[1]).reshape(-1, possible.shape[3])
    ]
    for group in set(groups) - {frozenset()}:
        if sum(bool(own) and own <= group for own in groups) < len(group):
            yield from group


def most_contradicting(labels: Sequence[Label], frames: Frames) -> int:
    """Return how many moments contradict the segment that fits worst, each taken with the bit that fits it best."""
    features = segment_features(labels)
    varying = (features.min(axis=2) < 0) & (features.max(axis=2) > 0)
    misses = _misses(features, frames).min(axis=(0, 3))[varying]
    return int(misses.max(initial=0))


class Wires(NamedTuple):
    """A digit's bits in a frame, whether each is inverted, and what their codes mean, the first bit the highest."""

    bits: tuple[tuple[int, bool], ...]
    codes: dict[int, str]


def possible_wires(features: Features, frames: Frames) -> Solved | None:
    """Find which bits may be which segments; of a segment that was not seen both lit and dark, none.

    Args:
        features: of the segments, 0 where nobody can tell.
        frames: near each moment.

    Returns:
        None where they contradict each other.
    """
    varying = (features.min(axis=2) < 0) & (features.max(axis=2) > 0)
    left = list(frames)
    if not varying.any():
        return None
    while True:
        possible = (_misses(features, left) == 0) & varying[None, ..., None]
        if not apart(possible, varying):
            return None
        fewer = [_showing(possible, features[:, :, n], varying, own) for n, own in enumerate(left)]
        if not all(len(own) for own in fewer):
            return None
        if [len(own) for own in fewer] == [len(own) for own in left]:
            return Solved(possible, features, left)
        left = fewer


def _misses(features: Features, frames: Frames) -> NDArray[np.float32]:
    """Count how many moments contradict each bit as each segment, plain and inverted; shape as of `Possible`."""
    some_set = np.array([own.any(axis=0) for own in frames], dtype=np.float32)
    some_clear = np.array([~own.all(axis=0) for own in frames], dtype=np.float32)
    lit, dark = (features > 0).astype(np.float32), (features < 0).astype(np.float32)
    plain = lit @ (1 - some_set) + dark @ (1 - some_clear)
    inverted = lit @ (1 - some_clear) + dark @ (1 - some_set)
    return np.array([plain, inverted])


def apart(possible: Possible, varying: NDArray[np.bool_]) -> bool:
    """Take from each segment the bits that others need: as many segments as they are. False where some has none."""
    segments = [(int(place), int(k)) for place, k in np.argwhere(varying)]
    either = possible[0] | possible[1]
    while True:
        bits = {key: frozenset(np.flatnonzero(either[key]).tolist()) for key in segments}
        changed = False
        for group in sorted(set(bits.values()), key=len):
            inside = [key for key in segments if bits[key] <= group]
            if len(group) < len(inside):
                return False
            if len(group) > len(inside):
                continue
            for key in segments:
                if not bits[key] <= group and bits[key] & group:
                    either[key][list(group)] = False
                    changed = True
        if not changed:
            possible &= either
            return True
        if not either[varying].any(axis=1).all():
            return False


def _showing(
    possible: Possible, wanted: NDArray[np.int8], varying: NDArray[np.bool_], frames: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Those of some frames in which each segment that is known to be lit or dark has a bit that is so."""
    if len(frames) == 1:
        return frames
    known = varying & (wanted != 0)
    plain, inverted = possible[:, known]
    lit = (wanted[known] > 0)[:, None]
    fits = [(((frame == lit) & plain) | ((frame != lit) & inverted)).any(axis=1).all() for frame in frames]
    return frames[np.array(fits, dtype=np.bool_)]


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


def _alone(value: int, features: NDArray[np.int8]) -> bool:
    """Tell whether what was found of a place's segments tells a digit from all others."""
    varying = (features.min(axis=1) < 0) & (features.max(axis=1) > 0)
    known = {segment for k, segment in enumerate(SEGMENTS) if varying[k] or k in _always(features)}
    own = {shape & known for of, shape in SHAPES if of == value}
    return not any(shape & known in own for of, shape in SHAPES if of != value)
