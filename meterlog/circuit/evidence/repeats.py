"""Tells what was read twice in one place, and whether the two readings differ."""

from __future__ import annotations

import math
from collections.abc import Sequence

from meterlog.circuit.readings.measurement import Measurement

APART, APART_SHARE = 0.5, 0.15
"""Two readings of one place differ when they are further apart than this, in V, A or ohm, and than this share of the
larger: a person's rounding and a source's drift. Guesses."""


def same_place(a: Measurement, b: Measurement) -> bool:
    """Tell whether two readings were taken in the same place and state."""
    return a.place_key == b.place_key


def without_repeats(measured: Sequence[Measurement]) -> list[Measurement]:
    """The readings without those that say again what an earlier one of the same place said."""
    kept: list[Measurement] = []
    for m in measured:
        if not any(same_place(m, earlier) and not apart(m, earlier) for earlier in kept):
            kept.append(m)
    return kept


def apart(a: Measurement, b: Measurement) -> bool:
    """Tell whether two values differ by more than a person's rounding and a source's drift."""
    if math.isinf(a.value) or math.isinf(b.value):
        return a.value != b.value
    return abs(a.value - b.value) > max(APART, APART_SHARE * max(abs(a.value), abs(b.value)))
