"""Finds constants that may be added to every byte of a frame."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from meterlog_drivers.teach.digits.nearby import Near, each_shown
from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.digits.segments.wires import most_contradicting
from meterlog_drivers.teach.framing.frame_finder import FramesFound
from meterlog_drivers.teach.moments import Moment

LEAST_FOR_OFFSET = 6
"""Displays from which on all constants are tried: 255 more chances for chance; a guess."""
LEAST_FOR_SLIP = 9
"""Displays from which on one of them may be a slip: each doubles what speaks for a constant; a guess."""
OFFSET_SHARE = 0.8
"""The share of moments near which a byte must exceed a digit by the same; a guess."""


def frame_bits(found: FramesFound, offset: int) -> Bits:
    """The bits of frames without what is added to their bytes, the marks left as they are."""
    plain = found.frames.copy()
    first, last = len(found.start), found.length - len(found.end)
    plain[:, first:last] -= np.uint8(offset)
    return np.unpackbits(plain, axis=1).astype(np.bool_)


def likely_offsets(found: FramesFound, moments: Sequence[Moment], near: Near) -> list[int]:
    """Constants that bytes may be increased by: what a byte exceeds a digit, or two, or a part of the number by."""
    rows = [(m.label, n) for m, n in zip(moments, near, strict=True) if n and not m.label.overload]
    if len(rows) < 3:
        return []
    wanted = []
    for place in range(max(len(label.digits) for label, _ in rows)):
        wanted.append([label.counts // 10**place % 10 for label, _ in rows])
        two = [label.counts // 10**place % 100 for label, _ in rows]
        wanted.append([value // 10 << 4 | value % 10 for value in two])
    wanted += [[label.counts >> 8 * n & 0xFF for label, _ in rows] for n in range(2)]
    votes: dict[int, int] = {}
    for row in wanted:
        if len(set(row)) < 3:
            continue
        seen = np.zeros((256, found.length), dtype=np.int64)
        for value, (_, frames) in zip(row, rows, strict=True):
            near_by = np.zeros_like(seen, dtype=np.bool_)
            for at in frames:
                near_by[(found.frames[at].astype(np.int64) - value) & 0xFF, range(found.length)] = True
            seen += near_by
        for offset in np.flatnonzero(seen.max(axis=1) >= OFFSET_SHARE * len(rows)):
            votes[int(offset)] = votes.get(int(offset), 0) + 1
    likely = sorted(votes, key=lambda offset: -votes[offset])[:4]
    return [c for offset in likely for c in ((offset - 0x30) & 0xFF, offset) if c]


def any_offset(found: FramesFound, moments: Sequence[Moment], near: Near) -> Iterator[int]:
    """Every constant under which there may be segments: nothing but trying finds it.

    Yields nothing where too little was shown; is not begun before all else has failed.
    """
    numbered = [n for n, m in enumerate(moments) if near[n] and not m.label.overload]
    if len(numbered) < LEAST_FOR_OFFSET:
        return
    labels = [moments[n].label for n in numbered]
    frames = {offset: each_shown(near, numbered, frame_bits(found, offset)) for offset in range(1, 256)}
    for slips in (0, 1) if len(labels) >= LEAST_FOR_SLIP else (0,):
        yield from (offset for offset, own in frames.items() if most_contradicting(labels, own) == slips)
