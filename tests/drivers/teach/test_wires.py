"""Wires of segments of which several arrangements are left: none is guessed, and the digit that tells is asked for."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from meterlog_drivers.teach.digits.features import GLYPHS, SEGMENTS, segment_features
from meterlog_drivers.teach.digits.number_fit import BitAt, NumberFit
from meterlog_drivers.teach.digits.segments.characters import wires_of
from meterlog_drivers.teach.digits.segments.telling import parting_digits, telling_digits
from meterlog_drivers.teach.digits.segments.wires import Solved, possible_wires
from meterlog_drivers.teach.moments import parse_label


def frame(digits: str) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """The segments a to g of each digit, the first one first."""
    return np.array([segment in GLYPHS[int(digit)] for digit in digits for segment in SEGMENTS], dtype=np.bool_)


def solved(numbers: Sequence[str]) -> Solved:
    """Return what is known after these numbers."""
    features = segment_features([parse_label(f"{number} V") for number in numbers])
    found = possible_wires(features, [frame(number)[None] for number in numbers])
    assert found is not None
    return found


def test_a_bit_that_may_be_one_segment_or_another_one_inverted_never_makes_a_wrong_digit() -> None:
    """In these digits the lower left segment is lit where the lower right one is dark, and only there."""
    found = solved(["4", "9", "3", "7", "5", "1", "2"])
    wires = wires_of(found.possible, found.features, 0)
    assert wires is not None
    number = NumberFit("segments", (tuple(BitAt(*bit) for bit in wires.bits),), (wires.codes,), (), structured=False)
    assert [number.text(frame(digit)) for digit in "0123456789"] == list("0123456789")


ALIKE = ("12", "42", "03", "25", "38", "56", "77", "84", "91", "20", "39", "75", "83", "96", "50", "34")
"""The first digit's top segment is dark where the last one's lower right one is, and only there."""


def test_the_digit_that_tells_two_places_apart_is_asked_for() -> None:
    telling = telling_digits(solved(ALIKE))
    assert telling[0] in {(0, 2), (1, 1), (1, 4)}
    assert not telling_digits(solved([*ALIKE, "13"]))


def test_before_anything_is_found_a_digit_is_asked_for_that_parts_segments_alike_so_far() -> None:
    labels = [parse_label(f"{number} V") for number in ALIKE]
    assert parting_digits(labels)[0] in {(0, 2), (1, 1), (1, 4)}
