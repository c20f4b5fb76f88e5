"""Finds bits that say nothing: those that differ while the display says the same."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Sequence

import numpy as np

from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.modes.rows import Row, saying_the_same

TWICE = 2
"""So often a bit must be either way while the display says the same, until it says nothing: once is damage, or a
minus that was not typed."""
RESTLESS = 4
"""Bits of a byte that say nothing, from which on the others that change say nothing either: a counter, a checksum."""


def silent_bits(
    rows: Sequence[Row], twins: Sequence[Row], ours: Sequence[int], apart: Collection[str] = ()
) -> set[int]:
    """Bits that differ between frames whose displays said the same; an overload does not say where its point is.

    Args:
        rows, twins: the frames of the moments, and further ones of displays that stood still.
        ours: the bits in question.
        apart: attributes with bits of their own, in which the displays may differ.
    """
    fewer: Counter[int] = Counter()
    for group in saying_the_same(rows, apart):
        ones = np.sum([row.frame for row in group], axis=0)
        fewer.update({bit: min(int(ones[bit]), len(group) - int(ones[bit])) for bit in ours})
    found = {bit for bit, count in fewer.items() if count >= TWICE}
    beside = Counter(bit // 8 for bit in found)
    for bit, count in fewer.items():
        if count and beside[bit // 8] and (beside[bit // 8] >= RESTLESS or _tells_height(rows, bit)):
            found.add(bit)
    by_moment: dict[int, list[Bits]] = {}
    for row in twins:
        by_moment.setdefault(row.moment, []).append(row.frame)
    for frames in by_moment.values():
        ones = np.sum(frames, axis=0)
        # once may be damage
        found |= {bit for bit in ours if TWICE <= ones[bit] <= len(frames) - TWICE}
    return found


def _tells_height(rows: Sequence[Row], bit: int) -> bool:
    """Tell whether a bit is set for high numbers alone, or for low ones: the upper end of a bar beside the number."""
    heights = {is_set: [row.counts for row in rows if row.frame[bit] == is_set and not row.over] for is_set in (0, 1)}
    low, high = sorted(heights.values(), key=lambda counts: max(counts, default=0))
    return max(low, default=0) <= min(high, default=0)
