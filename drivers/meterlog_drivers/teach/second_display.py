"""Learns the second number of a display, from what the first one leaves of the frames.

It is read only beside what the first display was seen to measure with it: a meter turned to what has no second number
then shows none, whatever its bytes hold.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from meterlog_drivers.teach.digits.digits_lesson import with_digits
from meterlog_drivers.teach.digits.nearby import Near
from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.modes.mode_fit import Field, Meaning
from meterlog_drivers.teach.modes.modes_lesson import with_modes
from meterlog_drivers.teach.modes.silent_bits import TWICE
from meterlog_drivers.teach.modes.turned_dial import beside_the_digits

LEAST_FOLLOWING = 6
"""Moments that a bit must have followed the second display, until it is taken for its own; a guess."""
BESIDE = "with what the first display measures"
NOT_FOUND = "the digits of the second number are not found yet"


def second_digits(lesson: Lesson, near: Near) -> Lesson | None:
    """Find the digits of the second number; None where nobody typed one.

    Args:
        lesson: of the first number, its digits found.
        near: the frames near each moment.

    Returns:
        A lesson with the same moments; those without a second number have no frame, and are no slips.
    """
    typed = _typed(lesson)
    if not typed:
        return None
    moments = tuple(m._replace(label=m.label.second or m.label) for m in lesson.moments)
    taken = frozenset(lesson.numbers[0].bits)
    start = Lesson(lesson.found, moments, offset=lesson.offset, taken=taken)
    found = with_digits(start, _only(near, typed))
    slips = {n: why for n, why in found.slips.items() if n in typed}
    if len(found.numbers) == 1:
        return replace(found, slips=slips)
    return replace(found, numbers=(), slips=slips, problem=NOT_FOUND)


def bits_of_second(first: Lesson, second: Lesson) -> frozenset[int]:
    """The bits that are surely the second display's: its digits, and what follows its unit, point or sign alone.

    Those follow what was typed of it in every frame, either way more than once, and not what was typed of the first.
    """
    if not second.numbers:
        return frozenset()
    used = [n for n in _typed(first) if first.frame_of[n] >= 0 and second.frame_of[n] >= 0]
    digits = frozenset(second.numbers[0].bits)
    if len(used) < LEAST_FOLLOWING:
        return digits
    frames = first.bits[[second.frame_of[n] for n in used]]
    by_first, by_second = (
        [beside_the_digits(one.moments[n].label._replace(second=None)) for n in used] for one in (first, second)
    )
    both_ways = np.minimum(frames.sum(axis=0), len(used) - frames.sum(axis=0)) >= TWICE
    return digits | set(np.flatnonzero(both_ways & _follows(frames, by_second) & ~_follows(frames, by_first)).tolist())


def _follows(frames: Bits, said: Sequence[object]) -> Bits:
    """Tell which bits are the same in all frames whose displays said the same."""
    groups = [frames[[other == one for other in said]] for one in set(said)]
    follows: Bits = np.all([group.all(axis=0) | ~group.any(axis=0) for group in groups], axis=0)
    return follows


def with_second_modes(first: Lesson, second: Lesson, near: Near) -> Lesson:
    """Find what else is said of the second number: by bits that say nothing of the first, where those suffice."""
    if not second.numbers or first.modes is None:
        return replace(second, problem=second.problem or first.problem)
    near = _only(near, _typed(first))
    said_first = frozenset(bit for field in first.modes.fields for bit in field.bits)
    for without in (said_first | first.modes.bar, first.modes.bar):
        found = with_modes(replace(second, taken=second.taken | without), near)
        if found.modes is not None and not found.modes.slips:
            break
    if found.modes is None:
        return found
    unit = _together(first.modes.fields[0], found.modes.fields[0])
    shown = {n for meaning in unit.values.values() for n in meaning.moments}
    moments = tuple(n for n in found.modes.moments if n in shown)
    modes = replace(found.modes, fields=(unit, *found.modes.fields[1:]), moments=moments)
    if not moments:
        return replace(found, problem="it was typed beside no first number that is read")
    return replace(found, taken=second.taken, modes=modes)


def _together(first: Field, second: Field) -> Field:
    """Return what the second display says with what the first one measures: only pairs that were shown are read.

    Many meters say the unit of the second number by that of the first one alone.
    """
    own = [k for k, bit in enumerate(second.bits) if bit not in first.bits]
    values: dict[tuple[bool, ...], Meaning] = {}
    for key, meaning in first.values.items():
        for other, said in second.values.items():
            if both := tuple(n for n in said.moments if n in meaning.moments):
                values[key + tuple(other[k] for k in own)] = Meaning(said.words, both)
    return Field((*second.says, BESIDE), first.bits + tuple(second.bits[k] for k in own), values)


def _typed(lesson: Lesson) -> set[int]:
    return {n for n, moment in enumerate(lesson.moments) if moment.label.second is not None}


def _only(near: Near, moments: Collection[int]) -> Near:
    return [frames if n in moments else [] for n, frames in enumerate(near)]
