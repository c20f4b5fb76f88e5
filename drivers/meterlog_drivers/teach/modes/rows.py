"""Compares frames with what their displays said: which say the same, which contradict each other."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

import numpy as np

from meterlog_drivers.teach.digits.number_fit import Bits
from meterlog_drivers.teach.modes.attributes import Attributes, contradict
from meterlog_drivers.teach.modes.mode_fit import key_of


class Row(NamedTuple):
    """Holds a frame and what its display said.

    Attributes:
        said: the attributes.
        frame: the bits.
        moment: its number.
        over: the display showed an overload.
        counts: the number without its point and sign.
    """

    said: Attributes
    frame: Bits
    moment: int
    over: bool
    counts: int


def saying_the_same(rows: Sequence[Row], apart: Collection[str] = ()) -> Collection[list[Row]]:
    """Group frames by what their displays said, where all of it is known."""
    groups: dict[tuple[tuple[str, object], ...], list[Row]] = {}
    for row in rows:
        said = tuple((name, value) for name, value in row.said.items() if name not in apart)
        if all(value is not None for _, value in said):
            groups.setdefault(said, []).append(row)
    return groups.values()


def odd_ones(rows: Sequence[Row], ours: Sequence[int]) -> set[int]:
    """The moments that alone differ from others that said the same: a minus, perhaps, that was not typed."""
    found: set[int] = set()
    for group in saying_the_same(rows):
        ones = np.sum([row.frame for row in group], axis=0)
        for bit in ours:
            if 0 < ones[bit] < len(group):
                usual = 2 * ones[bit] > len(group) if 2 * ones[bit] != len(group) else None
                found |= {row.moment for row in group if usual is None or row.frame[bit] != usual}
    return found


def contradiction(rows: Sequence[Row], ours: Sequence[int], names: Collection[str] | None = None) -> bool:
    """Tell whether frames with the same bits are said to show different things; an overload may show in the digits."""
    seen: dict[tuple[bool, ...], list[Row]] = {}
    for row in rows:
        for other in seen.setdefault(key_of(row.frame, ours), []):
            if contradict(row.said, other.said, row.said if names is None else names):
                return True
        seen[key_of(row.frame, ours)].append(row)
    return False


def differing(a: Bits, b: Bits, ours: Iterable[int]) -> set[int]:
    """The bits in which two frames differ."""
    return {bit for bit in ours if a[bit] != b[bit]}
