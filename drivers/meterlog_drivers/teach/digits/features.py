"""The bits of what a display showed, to compare with the bits of a frame: of decimal digits, segments, integers."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.moments import Label

Features = NDArray[np.int8]
"""Shape (places, bits, moments): 1 or -1 for a bit that is set or clear, 0 where nobody can tell."""

GLYPHS = ("abcdef", "bc", "abged", "abgcd", "fgbc", "afgcd", "afgedc", "abc", "abcdefg", "abcdfg")
"""The segments of each digit; a on top, then clockwise, g in the middle."""
EITHER = {6: "a", 9: "d", 7: "f"}
"""Segments that some displays light for a digit and others do not."""
SEGMENTS = "abcdefg"
INTEGER_BITS = 32


def places_of(labels: Sequence[Label]) -> int:
    """The most digits that were typed."""
    return max((len(label.digits) for label in labels), default=0)


def digit(label: Label, place: int) -> int | None:
    """A typed digit, the units at place 0; None where a leading zero or blank may be."""
    return int(label.digits[-1 - place]) if place < len(label.digits) else None


def decimal_features(labels: Sequence[Label]) -> Features:
    """The four bits of each digit, the lowest first."""
    found = np.zeros((places_of(labels), 4, len(labels)), dtype=np.int8)
    for n, label in enumerate(labels):
        for place in range(len(label.digits)):
            value = digit(label, place) or 0
            found[place, :, n] = [1 if value >> k & 1 else -1 for k in range(4)]
    return found


def segment_features(labels: Sequence[Label]) -> Features:
    """The seven segments of each digit, a to g."""
    found = np.zeros((places_of(labels), 7, len(labels)), dtype=np.int8)
    for n, label in enumerate(labels):
        for place in range(len(label.digits)):
            found[place, :, n] = lit_segments(digit(label, place) or 0)
    return found


def lit_segments(value: int) -> list[int]:
    """The seven segments of a digit: 1 where it is lit, -1 where dark, 0 where displays differ."""
    return [0 if s == EITHER.get(value) else 1 if s in GLYPHS[value] else -1 for s in SEGMENTS]


def in_front_of(features: Features) -> list[Features]:
    """The same segments with what may stand in front of a number: dark places, or zeros."""
    front = ~features.any(axis=1)
    found = []
    for glyph in ("", GLYPHS[0]) if front.any() else ("",):
        filled = features.copy()
        shape = np.array([1 if segment in glyph else -1 for segment in SEGMENTS], dtype=np.int8)
        filled.transpose(0, 2, 1)[front] = shape
        found.append(filled)
    return found


def integer_features(labels: Sequence[Label], signed: bool) -> Features:
    """The bits of the whole number, the lowest first; in two's complement where `signed`."""
    numbers = [-label.counts if signed and label.minus else label.counts for label in labels]
    bits = [[1 if number >> k & 1 else -1 for number in numbers] for k in range(INTEGER_BITS)]
    return np.array([bits], dtype=np.int8)


def varied(features: Features, axis: int | tuple[int, ...] = 2) -> NDArray[np.bool_]:
    """Tell which features were both on and off: of each place, or, over axes 0 and 2, of all places together."""
    on_and_off: NDArray[np.bool_] = (features.min(axis=axis) < 0) & (features.max(axis=axis) > 0)
    return on_and_off


def compared(features: Features, bits: NDArray[np.bool_]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Compare each feature with each bit of the frames.

    Args:
        features: what should be there.
        bits: shape (moments, bits of a frame).

    Returns:
        How often each bit contradicts each feature, and whether it is inverted: shape (places, bits, frame bits).
    """
    agreement = features.astype(np.int64) @ (2 * bits.astype(np.int64) - 1)
    known = np.abs(features).sum(axis=2, dtype=np.int64)[..., None]
    return (known - np.abs(agreement)) // 2, agreement < 0
