"""Tells whether a write-ahead log holds changes that SQLite passes over, since a bit of it is not as it was written.

SQLite takes a log in up to the first frame whose check sum is wrong, and says nothing: rightly so where a crash cut the
last one short, but a flipped bit loses all that follows. The format: https://www.sqlite.org/fileformat2.html#walformat
"""

from __future__ import annotations

import os
import struct
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from meterlog.session.surroundings import SAFE_OPEN

_HEADER_BYTES, _FRAME_BYTES = 32, 24
_MAGIC = 0x377F0682  # the lowest bit says that the check sums are of big-endian words
_MOST_BYTES = 256 * 2**20
"""A log larger than this is not looked at (the recorder empties it at 8 MiB)."""

_Sums = tuple[int, int]


def is_log_damaged(log: Path) -> bool:
    """Tell whether frames of the log's own are behind its first wrong check sum; False where there is no log."""
    try:
        with open(os.open(log, os.O_RDONLY | SAFE_OPEN), "rb") as file:
            content = file.read(_MOST_BYTES)
    except OSError:
        return False
    if len(content) <= _HEADER_BYTES + _FRAME_BYTES:  # not even a frame's head
        return False
    magic, _, page_bytes, _, *rest = struct.unpack_from(">8I", content)
    salts, stored = tuple(rest[:2]), tuple(rest[2:])
    if magic & ~1 != _MAGIC or not 512 <= page_bytes <= 65536 or page_bytes % 8:
        return True
    words = ">u4" if magic & 1 else "<u4"
    sums = _added((0, 0), np.frombuffer(content, words, 6).reshape(1, -1, 2))[0]
    return sums != stored or _has_frames_behind(content, page_bytes, words, sums, salts)


def _has_frames_behind(content: bytes, page_bytes: int, words: str, sums: _Sums, salts: tuple[int, ...]) -> bool:
    size = _FRAME_BYTES + page_bytes
    count = (len(content) - _HEADER_BYTES) // size
    frames = np.frombuffer(content, "u1", count * size, _HEADER_BYTES).reshape(count, size)
    head = np.ascontiguousarray(frames[:, :_FRAME_BYTES]).view(">u4")
    own = (head[:, 2:4] == salts).all(axis=1)
    summed = np.concatenate([frames[:, :8], frames[:, _FRAME_BYTES:]], axis=1)
    pairs = np.ascontiguousarray(summed).view(words).reshape(count, 1 + page_bytes // 8, 2)
    found = _added(sums, pairs)
    right = np.array([one == tuple(kept) for one, kept in zip(found, head[:, 4:6].tolist(), strict=True)], np.bool_)
    # A right sum under wrong salts: those flipped, for a frame of an earlier use of the log has other sums.
    good = own & right
    first_bad = count if good.all() else int(np.argmin(good))
    return bool(own[first_bad:].any() or right[first_bad:].any())


def _added(sums: _Sums, frames: NDArray[np.uint32]) -> list[_Sums]:
    """The sums after each of the frames, uint32 (n, m, 2), each of which goes on from the one before.

    SQLite adds a pair (a, b) of words as s0 += a + s1; s1 += b + s0. Linear, so a frame's share is worked out at once.
    """
    length = frames.shape[1]
    powers = _powers(length)
    a = frames[:, :, 0].astype(np.uint32)
    both = a + frames[:, :, 1].astype(np.uint32)
    back = powers[:length][::-1]
    shares = [(a * back[:, row, 0] + both * back[:, row, 1]).sum(axis=1, dtype=np.uint32).tolist() for row in (0, 1)]
    (p, q), (r, s) = powers[length].tolist()
    first, second = sums
    found = []
    for share, other in zip(*shares, strict=True):
        first, second = (p * first + q * second + share) % 2**32, (r * first + s * second + other) % 2**32
        found.append((first, second))
    return found


@cache
def _powers(most: int) -> NDArray[np.uint32]:
    """The powers 0 to `most` of the step's matrix, modulo 2**32; uint32 (most + 1, 2, 2)."""
    powers = np.empty((most + 1, 2, 2), np.uint32)
    powers[0] = np.eye(2)
    for k in range(most):
        (p, q), (r, s) = powers[k].tolist()
        powers[k + 1] = np.array([[p + q, p + 2 * q], [r + s, r + 2 * s]]) % 2**32
    return powers
