"""Puts what was shown and the frames together: learns what the bytes mean, and names what does not fit.

A display is typed a moment late, and now and then wrongly: of the frames near a moment, the one is taken that shows
what was typed, once it is known how; a moment that no frame near it explains is a slip and decides nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from meterlog_drivers.teach.digits.digits_lesson import with_digits
from meterlog_drivers.teach.digits.nearby import Near, frames_near
from meterlog_drivers.teach.digits.offset_search import any_offset, likely_offsets
from meterlog_drivers.teach.framing.frame_finder import FramesFound
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.modes.modes_lesson import with_modes
from meterlog_drivers.teach.modes.turned_dial import with_likeliest_frames
from meterlog_drivers.teach.moments import Moment
from meterlog_drivers.teach.second_display import bits_of_second, second_digits, with_second_modes

MOST_SLIPS = 2
"""Readings that a person may have typed wrongly, whatever their number; a guess."""
MIXED = 1000
"""Frames by which two ways to read the digits are compared; a choice."""
SLIP_SHARE = 0.2
"""The share of readings beyond which they are no slips: digits that explain the rest do so by chance; a guess."""


def learn(found: FramesFound, moments: Sequence[Moment]) -> Lesson:
    """Learn from frames and moments."""
    lesson = Lesson(found, tuple(moments))
    near = [frames_near(found, moment.time_s) for moment in moments]
    best = _with_digits(lesson, near)
    if not best.numbers:
        return replace(lesson, problem="the digits were not found yet")
    if len(best.numbers) > 1:
        return replace(best, problem=f"{len(best.numbers)} ways to read the digits fit all that was shown")
    unexplained = sum(bool(near[n]) for n in best.slips)
    if unexplained > max(MOST_SLIPS, SLIP_SHARE * len(moments)):
        fitting = f"{unexplained} of {len(moments)} readings do not fit the digits as the others show them"
        return replace(best, problem=f"{fitting}: show others, and leave each until it stands still")
    best = with_likeliest_frames(best, near)
    digits = second_digits(best, near)
    if digits is None:
        return with_modes(best, near)
    first = with_modes(replace(best, taken=bits_of_second(best, digits)), near)
    return replace(first, second=with_second_modes(first, digits, near))


def _with_digits(lesson: Lesson, near: Near) -> Lesson:
    """Find the digits under the constant that leaves the fewest slips, where segments allow several."""
    best = lesson
    for offset in (0, *likely_offsets(lesson.found, lesson.moments, near)):
        tried = with_digits(replace(lesson, offset=offset), near)
        likely = any(fit.kind != "segments" for fit in tried.numbers) and len(tried.slips) <= MOST_SLIPS
        if likely or (tried.numbers and not tried.slips):
            return tried
        best = _better(best, tried)
    fitting = []
    for offset in any_offset(lesson.found, lesson.moments, near):
        tried = with_digits(replace(lesson, offset=offset), near, ("segments",))
        best = _better(best, tried)
        if tried.numbers and not tried.slips:
            fitting.append(tried)
    others = [one.numbers[0] for one in fitting if one is not best and _reads_otherwise(one, best)]
    return replace(best, numbers=(*best.numbers, *others))


def _reads_otherwise(one: Lesson, other: Lesson) -> bool:
    """Tell whether frames put together of bytes that came show different digits; either constant explains the moments.

    A wrong one may turn over bits that no number shown so far has needed.
    """
    found, rng = one.found, np.random.default_rng(0)
    rows = rng.integers(len(found.frames), size=(MIXED, found.length))
    mixed = replace(found, frames=np.take_along_axis(found.frames, rows, axis=0))
    texts = [[lesson.numbers[0].text(bits) for bits in replace(lesson, found=mixed).bits] for lesson in (one, other)]
    return any(a != b and "?" not in a + b for a, b in zip(*texts, strict=True))


def _better(best: Lesson, tried: Lesson) -> Lesson:
    """The one with fewer slips: a constant that is nearly right mostly turns single bits over, which goes unseen."""
    better = tried.numbers and (not best.numbers or len(tried.slips) < len(best.slips))
    return tried if better else best
