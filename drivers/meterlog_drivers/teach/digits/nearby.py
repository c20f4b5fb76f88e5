"""Finds the frames near the moments at which a person read the display, which may have moved on since."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.framing.frame_finder import FramesFound

Near = Sequence[Sequence[int]]
"""For each moment the frames near it, from the one that was on the display back in time, then those after it."""

BEFORE, AFTER = 3.2, 0.7
"""Intervals before and after a moment in which its frame is looked for: typed up to two displays late (a choice)."""
RESTLESS = 0.5
"""The share of moments around which a bit that counts, or a checksum's, changes; a guess."""
MOVES = 2
"""Counts by which a display that flickers may have moved between a frame and what was typed (guess)."""


def frames_near(found: FramesFound, time_s: float) -> list[int]:
    """The frames near a moment; see `Near`."""
    since_s = time_s - found.time_s
    interval_s = found.interval_s or 1.0
    inside = np.flatnonzero((since_s < BEFORE * interval_s) & (since_s > -AFTER * interval_s))
    before = [int(n) for n in inside[::-1] if since_s[n] > -0.2 * interval_s]
    return before + [int(n) for n in inside if since_s[n] <= -0.2 * interval_s]


def at_lag(near: Sequence[int], lag: int) -> int | None:
    """The frame so many displays before the one at a moment."""
    if not near:
        return None
    wanted = near[0] - lag
    return wanted if wanted in near else near[0]


def still_ones(near: Near, numbered: Sequence[int], bits: Bits) -> list[int]:
    """The moments whose display stood still: all bits stayed but those that change all the time."""
    changes = {}
    for n in numbered:
        ones = bits[near[n]].sum(axis=0)
        changes[n] = (ones > 0) & (ones < len(near[n]))
    if not changes:
        return []
    calm = np.array(np.mean([*changes.values()], axis=0) <= RESTLESS, dtype=np.bool_)
    return [n for n, changed in changes.items() if len(near[n]) >= 3 and not (changed & calm).any()]


def each_shown(near: Near, numbered: Sequence[int], bits: Bits) -> list[Bits]:
    """The frames of which each moment's display was one: of a display that stood still a single one, undamaged."""
    still = set(still_ones(near, numbered, bits))
    return [
        majority(bits[near[n]], bits[near[n][0]])[None] if n in still else np.unique(bits[near[n]], axis=0)
        for n in numbered
    ]


def majority(frames: Bits, own: Bits) -> Bits:
    """Each bit as most of the frames have it: a damaged one does not decide; as in `own` where they are too few."""
    if len(frames) < 3:
        return own
    usual: Bits = 2 * frames.sum(axis=0) > len(frames)
    return usual


def hidden_digits(digits: str) -> int:
    """Return how many of a number's last digits may differ between frame and typing where the display flickers."""
    count, least = int(digits), max(0, int(digits) - MOVES)
    changed = 0
    while changed < len(digits) and least // 10**changed != (count + MOVES) // 10**changed:
        changed += 1
    return changed
