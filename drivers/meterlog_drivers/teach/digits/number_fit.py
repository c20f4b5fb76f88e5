"""Says where in a frame the number is, and reads it there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.moments import Label

Bits = NDArray[np.bool_]
"""Shape (moments, bits of a frame); the first bit is the highest of the first byte."""


class BitAt(NamedTuple):
    """A bit of the frame, from 0, the highest of the first byte first."""

    at: int
    inverted: bool


def most_known(shown: Sequence[int]) -> int:
    """The highest number whose bits have all been shown; all of them set is what integers say for an overload."""
    highest = max(shown, default=0)
    return max(highest, (1 << highest.bit_length()) - 2)


@dataclass(frozen=True)
class NumberFit:
    """A hypothesis of where the number is.

    Attributes:
        kind: `decimal`, `segments`, `integer` or `signed`.
        places: the bits of each digit, units first, each digit's highest first; of an integer one row.
        codes: what each place's bits mean: a digit or a blank.
        moments: which moments it explains.
        structured: the layout is regular and wholly known, not only what was seen.
        regular: the digits are alike, a constant step apart.
        telling: places and digits that would tell most of what is open about them, the best first.
        most: of an integer, the highest number of either sign that it is known to bear.
        unsure: bits among them that have followed the digits so far, perhaps by chance.
    """

    kind: str
    places: tuple[tuple[BitAt, ...], ...]
    codes: tuple[dict[int, str], ...]
    moments: tuple[int, ...]
    structured: bool
    regular: bool = True
    unsure: frozenset[int] = frozenset()
    telling: tuple[tuple[int, int], ...] = ()
    most: int = 0

    @property
    def bits(self) -> set[int]:
        """The bits that are surely its own."""
        return {bit.at for place in self.places for bit in place} - self.unsure

    @property
    def is_integer(self) -> bool:
        """True for a binary number."""
        return self.kind in ("integer", "signed")

    def code(self, frame: Bits, place: int) -> int:
        """The code at one place of one frame."""
        value = 0
        for at, inverted in self.places[place]:
            value = value << 1 | (bool(frame[at]) != inverted)
        return value

    def text(self, frame: Bits) -> str:
        """The digits, most significant first, `?` for what is none; of an integer the number."""
        if self.is_integer:
            code, size = self.code(frame, 0), len(self.places[0])
            return str(code - (1 << size) if self.kind == "signed" and code >> (size - 1) else code)
        return "".join(self.codes[p].get(self.code(frame, p), "?") for p in reversed(range(len(self.places))))

    def reads(self, frame: Bits) -> bool:
        """Tell whether the digits of a frame are a number, as far as is known."""
        text = self.text(frame)
        return abs(int(text)) <= self.most if self.is_integer else "?" not in text

    def shows(self, frame: Bits, label: Label) -> bool:
        """Tell whether a frame's digits may be those that were typed.

        What blanks look like may not be known yet, nor what a digit of scattered segments does.
        """
        text = self.text(frame)
        if label.overload:
            return False
        if self.is_integer:
            return int(text) == (-label.counts if label.minus and self.kind == "signed" else label.counts)
        shown = len(text) - len(label.digits)
        alike = (a == b or (a == "?" and not self.regular) for a, b in zip(text[shown:], label.digits, strict=True))
        return shown >= 0 and all(alike) and not text[:shown].strip(" 0?")
