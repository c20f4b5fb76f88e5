"""Holds what a frame says beside its digits, and reads it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from meterlog_drivers.teach.digits.number_fit import Bits


class Meaning(NamedTuple):
    """Holds what one combination of a field's bits says."""

    words: frozenset[str]
    moments: tuple[int, ...]


@dataclass(frozen=True)
class Field:
    """Bits that are read together.

    Attributes:
        says: the attributes.
        bits: where, in order.
        values: by their values, what they say and by which moments that is known.
    """

    says: tuple[str, ...]
    bits: tuple[int, ...]
    values: dict[tuple[bool, ...], Meaning]


@dataclass(frozen=True)
class ModeFit:
    """All that a frame says beside its digits.

    Attributes:
        fields: what is read.
        steady: bits that never changed, and their value.
        silent: bits that changed while the display said the same.
        bar: those of them that show the number once more.
        moments: which moments agree with that.
        slips: which contradict it.
        doubted: which alone differ from others that said the same; nothing is learned from them.
    """

    fields: tuple[Field, ...]
    steady: dict[int, bool]
    silent: frozenset[int]
    moments: tuple[int, ...]
    slips: tuple[int, ...]
    doubted: tuple[int, ...] = ()
    bar: frozenset[int] = frozenset()

    def known(self, frame: Bits) -> bool:
        """Tell whether all that a frame says beside its digits was taught."""
        return all(frame[bit] == value for bit, value in self.steady.items()) and all(
            key_of(frame, field.bits) in field.values for field in self.fields
        )


def key_of(frame: Bits, bits: Iterable[int]) -> tuple[bool, ...]:
    """The values of some bits."""
    return tuple(bool(frame[bit]) for bit in bits)
