"""Finds digits whose segments have their wires anywhere in a frame: no two places alike, no pattern."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from meterlog_drivers.teach.digits.features import digit, in_front_of, segment_features
from meterlog_drivers.teach.digits.number_fit import BitAt, NumberFit
from meterlog_drivers.teach.digits.segments.characters import BLANK, alone, wires_of
from meterlog_drivers.teach.digits.segments.telling import telling_digits
from meterlog_drivers.teach.digits.segments.wires import Frames, Possible, Solved, possible_wires
from meterlog_drivers.teach.moments import Label

LEAST_NUMBERS = 8
"""Different numbers without which nothing is concluded; a guess."""
MOST_CHANCE = 0.1
"""Bits that may follow a segment by chance, all moments long, until digits are believed: each moment halves them."""


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
            if len(seen) == 1 and alone(BLANK if value is None else value, solved.features[place]):
                codes.setdefault(seen.pop(), " " if value is None else str(value))
        places.append(bits)
        tables.append(codes)
    unsure = frozenset(_unsure(solved.possible))
    fit = NumberFit("segments", tuple(places), tuple(tables), kept, structured=False, regular=False, unsure=unsure)
    return replace(fit, telling=telling_digits(solved))


def _unsure(possible: Possible) -> Iterator[int]:
    """The bits that may be none of a digit's: of some segments there are more than they need."""
    groups = [
        frozenset(np.flatnonzero(row).tolist()) for row in (possible[0] | possible[1]).reshape(-1, possible.shape[3])
    ]
    for group in set(groups) - {frozenset()}:
        if sum(bool(own) and own <= group for own in groups) < len(group):
            yield from group
