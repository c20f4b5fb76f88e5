"""Finds how wide an integer is: how many bits the numbers shown need, and how far its sign reaches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import INTEGER_BITS, Features
from meterlog_drivers.teach.digits.layouts import Layout
from meterlog_drivers.teach.digits.number_fit import BitAt, Bits, NumberFit
from meterlog_drivers.teach.moments import Label


def bits_used(labels: Sequence[Label]) -> int:
    """The bits of the highest number."""
    return max(1, max(label.counts.bit_length() for label in labels))


def as_signed(fit: NumberFit, positive: Bits) -> list[NumberFit]:
    """Read an integer as two's complement of whole bytes, which positive numbers alone do not tell.

    Args:
        fit: an integer whose high bits may be missing.
        positive: a frame that shows a number that is not negative.

    Returns:
        One for each width that the frame has room for, the widest first: what follows the sign in every frame belongs
        to the number, and what is left of an overload without it may look like a small one; none for other encodings.
    """
    if not fit.is_integer or not fit.regular:
        return []
    row = fit.places[0][::-1]
    low = row[0].at
    towards = row[1].at - low
    across = 8 if len(row) > 8 and row[8].at > low else -8
    found = []
    for size in range(INTEGER_BITS // 8, -(-len(row) // 8) - 1, -1):
        wide = [low + across * (k // 8) + towards * (k % 8) for k in range(8 * size)]
        if min(wide) < 0 or max(wide) >= len(positive) or [bit.at for bit in row] != wide[: len(row)]:
            continue
        zeros = [BitAt(at, bool(positive[at])) for at in wide[len(row) :]]
        found.append(replace(fit, kind="signed", places=((*zeros[::-1], *row[::-1]),)))
    return found


def widened(
    kind: str, layout: Layout, labels: Sequence[Label], features: Features, inverted: Bits, bits: Bits
) -> NDArray[np.int64]:
    """An integer's further bits in its last byte: copies of the sign; zeros, once the sign is known to be elsewhere."""
    at = layout.at[0]
    step = int(at[1] - at[0]) if len(at) > 1 else -1
    wide = list(at)
    seen_minus = any(label.minus for label in labels)
    while len(wide) % 8 and seen_minus and len(wide) < features.shape[1]:
        after = int(wide[-1]) + step
        wanted = features[0, len(wide)] > 0
        same = bits[:, after] != inverted[0, len(wide), after]
        if not (same == wanted).all() or (kind == "integer" and bits[:, after].any() != bits[:, after].all()):
            break
        wide.append(after)
    return np.array(wide)
