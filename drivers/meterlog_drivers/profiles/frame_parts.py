"""The parts of a frames profile: numbers, maps, checksums, with byte positions counted from 0."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from meterlog_drivers.formats.checksums import Checksum


class Check(NamedTuple):
    """The frame's checksum: bytes `first` to `last` (from 0, exclusive) give the `size` bytes at `at`."""

    at: int
    size: int
    first: int
    last: int
    order: str
    of: Checksum


class Wire(NamedTuple):
    """One bit of a frame: its byte, its mask in there, and whether it is inverted."""

    at: int
    bit: int
    inverted: bool


INTEGERS = ("integer", "wired-integer")
"""Ways to write the whole number at once, not digit by digit."""


class Number(NamedTuple):
    """The way digits are written in a frame.

    Attributes:
        wires: of digits in any wiring, the bits of each, the highest first; one row for a whole integer.
        codes: of wired digits, each one's own codes.
        most: of an integer, the highest number, of either sign; what is above it is none.
        unscaled_overload: counts that mean overload where the point is not known.
    """

    digits: str
    at: tuple[tuple[int, ...], ...]
    masks: tuple[int, ...]
    segments: dict[int, str]
    overload: tuple[str, ...]
    leading_blanks: bool
    signed: bool
    order: str
    decimals: int | None
    wires: tuple[tuple[Wire, ...], ...] = ()
    codes: tuple[dict[int, str], ...] = ()
    most: int | None = None
    unscaled_overload: tuple[int, ...] = ()


class Map(NamedTuple):
    """Bytes (each with its mask) whose value says words.

    Attributes:
        asked: the words that a person may tell of a value that is not among `values`; `count` is an amount.
        question: what to look at on the display, to tell them.
    """

    at: tuple[int, ...]
    masks: tuple[int, ...]
    values: dict[bytes, frozenset[str]]
    unknown_refused: bool
    asked: tuple[str, ...] = ()
    question: str = ""


class Fixed(NamedTuple):
    """A byte that, masked, is always the same."""

    at: int
    mask: int
    value: int


@dataclass(frozen=True)
class DisplayProfile:
    """Holds what a frame says of one display: its digits, and all beside them; bits are given as (byte, mask)."""

    number: Number
    maps: tuple[Map, ...]
    bits: dict[tuple[int, int], frozenset[str]]
    bits_clear: dict[tuple[int, int], frozenset[str]]
    unused: tuple[Fixed, ...]
    steady: tuple[Fixed, ...]

    @property
    def words(self) -> frozenset[str]:
        """Every word that it can say."""
        rows = [*(m.values.values() for m in self.maps), self.bits.values(), self.bits_clear.values()]
        return frozenset().union(*(words for row in rows for words in row))
