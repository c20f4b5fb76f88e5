"""Finds what frames say beside the digits, once those are known."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from meterlog_drivers.teach.digits.bars import bar_bits
from meterlog_drivers.teach.digits.nearby import Near, majority
from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.modes.mode_search import find_modes
from meterlog_drivers.teach.modes.turned_dial import beside_the_digits

FLICKER = 5
"""Counts by which the last digits of a display flicker while nothing happens; a guess."""
FAR_ABOVE = 2
"""So many times the highest number shown, an integer is no number but means overload; a guess."""


def with_modes(lesson: Lesson, near: Near) -> Lesson:
    """Find what frames say beside the digits."""
    bits, number = lesson.bits, lesson.numbers[0]
    used = [n for n, at in enumerate(lesson.frame_of) if at >= 0]
    labels = [lesson.moments[n].label for n in used]
    neighbours = {n: _neighbours(lesson, near[n], n) for n in used}
    frames = np.array([majority(bits[neighbours[n]], bits[lesson.frame_of[n]]) for n in used])
    # a digit of scattered segments is told from its neighbours by those that were found alone, so these are no twins
    alike = [(k, bits[at]) for k, n in enumerate(used) for at in neighbours[n] if number.regular]
    overloads = _overloads(lesson, used)
    signed = number.kind == "signed"
    ours = _ours(lesson)
    bar = _bar(lesson, used, frames, ours)
    beside = [bit for bit in ours if bit not in bar]
    fit = find_modes(labels, frames, alike, beside, signed=signed, over=not overloads)
    if fit is None and bar:  # what was taken for a bar is needed
        bar, fit = frozenset(), find_modes(labels, frames, alike, ours, signed=signed, over=not overloads)
    if fit is None:
        return replace(lesson, problem="what was typed contradicts itself more than twice: show it again")
    if (
        fit.slips and not number.regular and number.kind != "segments"
    ):  # what contradicts may be a bit that was taken for one of a digit
        return replace(lesson, problem="the digits are not sure enough, since a moment contradicts others: show others")
    slips = dict(lesson.slips)
    for k in fit.slips:
        slips[used[k]] = "other moments with the same bytes showed something else"
    for k in fit.doubted:
        slips[used[k]] = "its bytes differ from all others that showed the same, a minus perhaps or another symbol"
    fit = replace(
        fit,
        silent=fit.silent | bar,
        bar=bar,
        moments=tuple(used[k] for k in fit.moments),
        slips=tuple(used[k] for k in fit.slips),
        doubted=tuple(used[k] for k in fit.doubted),
        fields=tuple(
            replace(
                one,
                values={
                    key: meaning._replace(moments=tuple(used[k] for k in meaning.moments))
                    for key, meaning in one.values.items()
                },
            )
            for one in fit.fields
        ),
    )
    return replace(lesson, modes=fit, slips=slips, overloads=overloads)


def _neighbours(lesson: Lesson, near: Sequence[int], moment: int) -> list[int]:
    """The frames around a moment's whose digits are nearly the same: the dial stood where it was.

    A frame that was typed with another range, sign or symbol is none of them.
    """
    number, bits, own = lesson.numbers[0], lesson.bits, lesson.frame_of[moment]
    kinds = [beside_the_digits(one.label) for one in lesson.moments]
    others = {at for at, kind in zip(lesson.frame_of, kinds, strict=True) if kind != kinds[moment]}
    text = number.text(bits[own]).strip()
    found = []
    for at in near:
        if at in others:
            continue
        other = number.text(bits[at]).strip()
        close = text.lstrip("-").isdecimal() and other.lstrip("-").isdecimal()
        if other == text or (close and abs(int(other) - int(text)) <= FLICKER < abs(int(text)) * 0.5):
            found.append(at)
    return found or [own]


def _bar(lesson: Lesson, used: Sequence[int], frames: Bits, ours: Collection[int]) -> frozenset[int]:
    """The bits of a bar graph beside the number, which shows the same once more."""
    numbered = [k for k, n in enumerate(used) if not lesson.moments[n].label.overload]
    return bar_bits([lesson.moments[used[k]].label.counts for k in numbered], frames[numbered], ours)


def _overloads(lesson: Lesson, used: Sequence[int]) -> tuple[str, ...]:
    """The digits that mean overload: such as are no number, or far above all numbers; none where other bits tell it."""
    number, bits = lesson.numbers[0], lesson.bits
    texts = {number.text(bits[lesson.frame_of[n]]) for n in used if lesson.moments[n].label.overload}
    highest = max(lesson.moments[n].label.counts for n in used)
    no_number = texts and all(_no_number(text.strip(), highest) for text in texts)
    return tuple(sorted(texts)) if no_number else ()


def _no_number(text: str, highest: int) -> bool:
    """Tell whether digits are no number: no digits, far above all, or all ones and above all."""
    if not text.removeprefix("-").isdecimal():
        return True
    number = abs(int(text))
    return number > FAR_ABOVE * highest or (number > highest and number & number + 1 == 0)


def _ours(lesson: Lesson) -> list[int]:
    """The bits that are not marks, digits, checksum or, where it was taken off, parity."""
    found, number = lesson.found, lesson.numbers[0]
    taken = {*range(len(found.start)), *range(found.length - len(found.end), found.length)}
    if found.check:
        taken |= set(range(found.check.at - 1, found.check.at - 1 + found.check.size))
    fixed = {8 * at + k for at, mask, _ in found.fixed for k in range(8) if mask >> 7 - k & 1}
    parity = {8 * at for at in range(found.length)} if found.parity else set()
    digits = number.bits | lesson.taken
    return [b for b in range(8 * found.length) if b // 8 not in taken and b not in digits | fixed | parity]
