"""Finds the checksum of frames: sums, exclusive or, CRC-8 of every polynomial, the usual CRC-16."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

Frames = NDArray[np.uint8]

LEAST_FRAMES = 8
"""Frames that differ, from which a checksum can be told from chance: 2**-8 each, less the choices tried."""
LEAST_VALUES = 5
"""Values that the checksum must have taken; a guess."""
FIT_SHARE = 0.9
"""The share of the frames that must fit: the others are damaged."""
POLYNOMIALS_16 = (0x1021, 0x8005, 0x3D65, 0x8BB7, 0xC867, 0x0589, 0xA097, 0x755B)
"""The generators in general use (catalogues of CRCs, from memory)."""


class CheckFound(NamedTuple):
    """A checksum, in the words of a profile; `at`, `first` and `last` from 1 as there."""

    kind: str
    at: int
    first: int
    last: int
    options: Mapping[str, int | bool | str]

    @property
    def size(self) -> int:
        """Return how many bytes it takes."""
        return 2 if self.kind.endswith("16") else 1


def find_check(frames: Frames, end: int) -> tuple[CheckFound, NDArray[np.bool_]] | None:
    """Look for a checksum in the last bytes before the end mark.

    Args:
        frames: whole frames as on the wire, one a row.
        end: bytes of the end mark.

    Returns:
        It and which frames fit it; None where there is none, or too few frames to tell.
    """
    different = np.unique(frames, axis=0)
    last = frames.shape[1] - end
    ends_alike = bool((frames[:, last - 1] == frames[0, last - 1]).all())  # a mark that was not taken for one
    for length, size in [(last - mark, size) for mark in range(ends_alike, -1, -1) for size in (1, 2)]:
        at = length - size
        if at < 2 or len(different) < LEAST_FRAMES or len(np.unique(different[:, at:length], axis=0)) < LEAST_VALUES:
            continue
        for first in range(min(4, at - 1)):
            found = (_byte if size == 1 else _word)(frames, at, first)
            if found is not None:
                return found
    return None


def _residual(check: NDArray[np.int64], computed: NDArray[np.int64]) -> tuple[int, int, NDArray[np.bool_]] | None:
    """The first way to compute a checksum that leaves nearly every frame the same constant.

    Args:
        check: as the frames bear it.
        computed: shape (ways, frames).

    Returns:
        The way, the constant, and which frames fit; None where none does.
    """
    left = check ^ computed
    middle = left.shape[1] // 2
    usual = np.partition(left, middle, axis=1)[:, [middle]]  # what most are is in the middle as well
    right = left == usual
    fitting = np.flatnonzero(right.mean(axis=1) >= FIT_SHARE)
    return (int(fitting[0]), int(usual[fitting[0], 0]), right[fitting[0]]) if len(fitting) else None


def _byte(frames: Frames, at: int, first: int) -> tuple[CheckFound, NDArray[np.bool_]] | None:
    check = frames[:, at].astype(np.int64)
    body = frames[:, first:at].astype(np.int64)
    place = (at + 1, first + 1, at)
    if found := _sum(check, body, 0xFF):
        negate, initial, right = found
        return CheckFound("sum8", *place, {"initial": initial, "negate": negate}), right
    if parity := _residual(check, np.bitwise_xor.reduce(body, axis=1)[None, :]):
        return CheckFound("xor8", *place, {"initial": parity[1]}), parity[2]
    polynomials = np.arange(1, 256, dtype=np.int64)
    for reflected in (False, True):
        if crc := _residual(check, _crc(body, polynomials, 8, reflected)):
            options = {"polynomial": int(polynomials[crc[0]]), "reflected": reflected, "final_xor": crc[1]}
            return CheckFound("crc8", *place, options), crc[2]
    return None


def _word(frames: Frames, at: int, first: int) -> tuple[CheckFound, NDArray[np.bool_]] | None:
    high, low = frames[:, at].astype(np.int64), frames[:, at + 1].astype(np.int64)
    body = frames[:, first:at].astype(np.int64)
    place = (at + 1, first + 1, at)
    polynomials = np.array(POLYNOMIALS_16, dtype=np.int64)
    for order, check in (("big", high << 8 | low), ("little", low << 8 | high)):
        if found := _sum(check, body, 0xFFFF):
            negate, initial, right = found
            return CheckFound("sum16", *place, {"initial": initial, "negate": negate, "order": order}), right
        for reflected in (False, True):
            if crc := _residual(check, _crc(body, polynomials, 16, reflected)):
                options: dict[str, int | bool | str] = {
                    "polynomial": POLYNOMIALS_16[crc[0]],
                    "reflected": reflected,
                    "final_xor": crc[1],
                    "order": order,
                }
                return CheckFound("crc16", *place, options), crc[2]
    return None


def _sum(check: NDArray[np.int64], body: NDArray[np.int64], mask: int) -> tuple[bool, int, NDArray[np.bool_]] | None:
    """A sum, or its negative: whether that, what it begins with, and which frames fit."""
    for negate in (False, True):
        difference = (-check if negate else check) - body.sum(axis=1) & mask
        if found := _residual(difference, np.zeros((1, len(difference)), dtype=np.int64)):
            return negate, found[1], found[2]
    return None


def _crc(body: NDArray[np.int64], polynomials: NDArray[np.int64], width: int, reflected: bool) -> NDArray[np.int64]:
    """The CRCs of all bodies by all polynomials, from an initial 0: shape (polynomials, bodies).

    For frames of one length another initial value only changes the result by a constant, which `final_xor` holds.
    """
    top, mask = 1 << width - 1, (1 << width) - 1
    if reflected:
        polynomials = np.array([int(f"{p:0{width}b}"[::-1], 2) for p in polynomials], dtype=np.int64)
    register = np.zeros((len(polynomials), len(body)), dtype=np.int64)
    for column in body.T:
        register ^= column if reflected else column << width - 8
        for _ in range(8):
            if reflected:
                register = register >> 1 ^ np.where(register & 1, polynomials[:, None], 0)
            else:
                register = (register << 1 ^ np.where(register & top, polynomials[:, None], 0)) & mask
    return register
