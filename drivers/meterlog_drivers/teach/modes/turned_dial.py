"""Chooses the frame of a moment once more, by what stands beside the digits: the dial may have been turned just then.

Of the frames near a moment several may show its digits, `0.00 V` and `0.00 A`. The one is taken that looks most like
the frames of the other moments that were typed alike.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace

import numpy as np

from meterlog_drivers.teach.digits.nearby import Near
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.moments import Label

LEAST_ALIKE = 3
"""Moments typed alike, from which on most of them are believed; a choice."""


def with_likeliest_frames(lesson: Lesson, near: Near) -> Lesson:
    """Choose the frames of moments that were typed alike so that they look alike."""
    groups: dict[Hashable, list[int]] = {}
    for n, moment in enumerate(lesson.moments):
        if lesson.frame_of[n] >= 0:
            groups.setdefault(beside_the_digits(moment.label), []).append(n)
    bits, number = lesson.bits, lesson.numbers[0]
    frame_of, late = list(lesson.frame_of), dict(lesson.late)
    for group in groups.values():
        beside = bits.copy()
        if not lesson.moments[group[0]].label.overload:
            beside[:, sorted(number.bits)] = False
        together = beside[[lesson.frame_of[n] for n in group]].sum(axis=0)
        for n in group if len(group) >= LEAST_ALIKE else ():
            own = lesson.frame_of[n]
            usual = (together - beside[own]) / (len(group) - 1)
            label = lesson.moments[n].label
            showing = [at for at in near[n] if label.overload or number.shows(bits[at], label)]
            unlike = np.abs(beside[[own, *showing]] - usual).sum(axis=1)
            best = [own, *showing][int(unlike.argmin())]
            frame_of[n], late[n] = best, near[n][0] - best
    return replace(lesson, frame_of=tuple(frame_of), late={n: count for n, count in late.items() if count})


def beside_the_digits(label: Label) -> Hashable:
    """All that was typed but the digits."""
    return label._replace(text="", digits="")
