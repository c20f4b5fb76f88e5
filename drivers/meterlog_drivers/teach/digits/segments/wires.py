"""Finds which bits of a frame may be which segments of a display, as an exact problem of constraints.

Each segment of each place is one bit of the frame, plain or inverted; no bit is two segments; and of the frames near a
moment, at least one shows what was typed. What contradicts that is taken away until nothing changes.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import Features, segment_features, varied
from meterlog_drivers.teach.moments import Label

Frames = Sequence[NDArray[np.bool_]]
"""For each moment the frames that may have been on the display: shape (frames, bits)."""
Possible = NDArray[np.bool_]
"""Says which bits may be which segments: shape (inverted or not, places, segments, bits of a frame)."""


class Solved(NamedTuple):
    """Holds which bits may be which segments, what the segments should be, and the frames that are left."""

    possible: Possible
    features: Features
    frames: Frames


def possible_wires(features: Features, frames: Frames) -> Solved | None:
    """Find which bits may be which segments; of a segment that was not seen both lit and dark, none.

    Args:
        features: of the segments, 0 where nobody can tell.
        frames: near each moment.

    Returns:
        None where they contradict each other.
    """
    varying = varied(features)
    left = list(frames)
    if not varying.any():
        return None
    while True:
        possible = (_misses(features, left) == 0) & varying[None, ..., None]
        if not apart(possible, varying):
            return None
        fewer = [_showing(possible, features[:, :, n], varying, own) for n, own in enumerate(left)]
        if not all(len(own) for own in fewer):
            return None
        if [len(own) for own in fewer] == [len(own) for own in left]:
            return Solved(possible, features, left)
        left = fewer


def _misses(features: Features, frames: Frames) -> NDArray[np.float32]:
    """Count how many moments contradict each bit as each segment, plain and inverted; shape as of `Possible`."""
    some_set = np.array([own.any(axis=0) for own in frames], dtype=np.float32)
    some_clear = np.array([~own.all(axis=0) for own in frames], dtype=np.float32)
    lit, dark = (features > 0).astype(np.float32), (features < 0).astype(np.float32)
    plain = lit @ (1 - some_set) + dark @ (1 - some_clear)
    inverted = lit @ (1 - some_clear) + dark @ (1 - some_set)
    return np.array([plain, inverted])


def apart(possible: Possible, varying: NDArray[np.bool_]) -> bool:
    """Take from each segment the bits that others need: as many segments as they are. False where some has none."""
    segments = [(int(place), int(k)) for place, k in np.argwhere(varying)]
    either = possible[0] | possible[1]
    while True:
        bits = {key: frozenset(np.flatnonzero(either[key]).tolist()) for key in segments}
        changed = False
        for group in sorted(set(bits.values()), key=len):
            inside = [key for key in segments if bits[key] <= group]
            if len(group) < len(inside):
                return False
            if len(group) > len(inside):
                continue
            for key in segments:
                if not bits[key] <= group and bits[key] & group:
                    either[key][list(group)] = False
                    changed = True
        if not changed:
            possible &= either
            return True
        if not either[varying].any(axis=1).all():
            return False


def _showing(
    possible: Possible, wanted: NDArray[np.int8], varying: NDArray[np.bool_], frames: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Those of some frames in which each segment that is known to be lit or dark has a bit that is so."""
    if len(frames) == 1:
        return frames
    known = varying & (wanted != 0)
    plain, inverted = possible[:, known]
    lit = (wanted[known] > 0)[:, None]
    fits = [(((frame == lit) & plain) | ((frame != lit) & inverted)).any(axis=1).all() for frame in frames]
    return frames[np.array(fits, dtype=np.bool_)]


def most_contradicting(labels: Sequence[Label], frames: Frames) -> int:
    """Return how many moments contradict the segment that fits worst, each taken with the bit that fits it best."""
    features = segment_features(labels)
    varying = varied(features)
    misses = _misses(features, frames).min(axis=(0, 3))[varying]
    return int(misses.max(initial=0))
