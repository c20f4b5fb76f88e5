"""Finds the frame of each moment, of those near it, by the one layout of digits that explains the most moments.

How late each answer was is not asked: a layout explains a moment where any frame near it shows what was typed. All
places of a digit in a frame speak at once, so that displays which never stand still tell as much as others.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.features import Features, digit, in_front_of, places_of, segment_features, varied
from meterlog_drivers.teach.digits.layouts import nibble_codes, step_patterns
from meterlog_drivers.teach.digits.number_fit import BitAt, Bits
from meterlog_drivers.teach.digits.segments.characters import wires_of
from meterlog_drivers.teach.digits.segments.wires import apart
from meterlog_drivers.teach.moments import Label

MOST_ALIKE = 4
"""Layouts that explain equally many moments, of which more are not looked at; a choice."""
MASKS = 16
"""Ways to invert the four bits of a digit."""
Pattern = NDArray[np.int64]
"""The distances of each place from the units, in bits."""


def explaining_frames(kind: str, labels: Sequence[Label], bits: Bits, near: Sequence[Sequence[int]]) -> list[list[int]]:
    """Find the frames of moments by the layouts that explain the most of them.

    Args:
        kind: `decimal` or `segments`.
        labels: what was shown, without overloads.
        bits: of all frames.
        near: the frames near each, the likeliest first.

    Returns:
        For each of the best layouts, where they choose differently, the frame of each moment; the likeliest where a
        layout explains none.
    """
    explained = _decimal if kind == "decimal" else _segments
    owner = np.repeat(np.arange(len(near)), [len(own) for own in near])
    frames = np.array([at for own in near for at in own])
    found: dict[tuple[int, ...], int] = {}
    for shows in explained(labels, bits[frames], owner):
        chosen = tuple(
            next((at for at, right in zip(own, shows[owner == n], strict=True) if right), own[0])
            for n, own in enumerate(near)
        )
        found[chosen] = max(found.get(chosen, 0), len(set(owner[shows])))
    most = max(found.values(), default=0)
    return [list(chosen) for chosen, count in found.items() if count == most][:MOST_ALIKE]


def _shifted(bits: NDArray[np.int64], pattern: Pattern) -> NDArray[np.int64]:
    """Return what stands at each place, by the frame bit of the units: shape (places, frames, bits); -1 outside it."""
    beyond = int(np.abs(pattern).max(initial=0))
    padded = np.pad(bits, ((0, 0), (beyond, beyond)), constant_values=-1)
    size = bits.shape[1]
    return np.array([padded[:, beyond + at : beyond + at + size] for at in pattern.tolist()])


def _decimal(labels: Sequence[Label], bits: Bits, owner: NDArray[np.int64]) -> Iterator[NDArray[np.bool_]]:
    """For each layout of four bits a digit, and mask over them, that does best: the frames that show what was typed."""
    places = places_of(labels)
    digits = np.array([[-1 if (d := digit(labels[n], p)) is None else d for n in owner] for p in range(places)])
    typed = digits >= 0
    best: list[NDArray[np.bool_]] = []
    most = 1
    for codes in nibble_codes(bits):
        for pattern in step_patterns(places):
            at = _shifted(codes, pattern)
            masks = np.where(typed[..., None], at ^ digits[..., None], -1)
            mask = masks.max(axis=0)
            alike = (np.where(typed[..., None], masks, mask) == mask).all(axis=0)
            alike &= ((at >= 0) | ~typed[..., None]).all(axis=0)
            in_front = np.where(typed[..., None], 0, at ^ np.maximum(mask, 0))
            alike &= ((in_front < 1) | (in_front > 9)).all(axis=0)  # a zero or a blank, no digit that nobody typed
            votes = _votes(np.where(alike, mask, -1), owner)
            for place, own in np.argwhere(votes >= max(most, int(votes.max(initial=0)))):
                if votes[place, own] > most:
                    best, most = [], int(votes[place, own])
                best.append(alike[:, place] & (mask[:, place] == own))
    yield from best[: 4 * MOST_ALIKE]


def _votes(mask: NDArray[np.int64], owner: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return how many moments each place and mask explains."""
    moments = int(owner.max(initial=-1)) + 1
    seen = np.zeros((moments, mask.shape[1], MASKS), dtype=np.bool_)
    frame, place = np.nonzero(mask >= 0)
    seen[owner[frame], place, mask[frame, place]] = True
    votes: NDArray[np.int64] = seen.sum(axis=0)
    return votes


def _segments(labels: Sequence[Label], bits: Bits, owner: NDArray[np.int64]) -> Iterator[NDArray[np.bool_]]:
    """For each constant step between digits under which their segments have wires: the frames that show the number."""
    features = segment_features(labels)
    varying = varied(features, axis=(0, 2))
    left = [owner != left_out for left_out in range(-1, len(labels))]
    for in_front in in_front_of(features):
        wanted = in_front[:, varying][:, :, owner]
        for pattern in step_patterns(len(features)):
            fits = _fitting(wanted, _shifted(bits.astype(np.int64), pattern))
            shows = next((found for own in left if (found := _narrowed(fits, owner, own)) is not None), None)
            if shows is not None:
                yield shows


def _fitting(wanted: NDArray[np.int8], at: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Tell which bit of the units' may be which segment, by one frame: shape (frames, 2 * segments, bits).

    The second half is of inverted segments.
    """
    places, segments, frames = wanted.shape
    plain = np.ones((frames, segments, at.shape[2]), dtype=np.bool_)
    turned = plain.copy()
    for place in range(places):
        known = (wanted[place] != 0).T[..., None]
        lit = (wanted[place] > 0).T[..., None]
        bit = at[place][:, None, :]
        plain &= ~known | ((bit == 1) == lit) & (bit >= 0)
        turned &= ~known | ((bit == 0) == lit) & (bit >= 0)
    return np.concatenate([plain, turned], axis=1)


def _narrowed(fits: NDArray[np.bool_], owner: NDArray[np.int64], left: NDArray[np.bool_]) -> NDArray[np.bool_] | None:
    """Take away frames in which a segment has no bit, and bits that no frame of a moment bears out, until all agree."""
    segments = fits.shape[1] // 2
    moments = np.unique(owner[left])
    while True:
        possible = np.all([fits[left & (owner == n)].any(axis=0) for n in moments], axis=0)
        if not (possible[:segments] | possible[segments:]).any(axis=1).all():
            return None
        own = (fits & possible).any(axis=2)
        fewer = left & (own[:, :segments] | own[:, segments:]).all(axis=1)
        if not np.isin(moments, owner[fewer]).all():
            return None
        if (fewer == left).all():
            return left
        left = fewer


class Agreed(NamedTuple):
    """Holds the bits of each place, what their codes mean under every wiring that is possible."""

    places: list[tuple[BitAt, ...]]
    codes: dict[int, str]


def agreed_wires(features: Features, bits: Bits, pattern: Pattern) -> Agreed | None:
    """The bits of segments that are wired alike in every place, and the codes that all possible wirings read alike.

    Args:
        features: of the segments.
        bits: the frame of each moment.
        pattern: how far each place is from the units.

    Returns:
        None where too much is open.
    """
    fits = _fitting(features, _shifted(bits.astype(np.int64), pattern)).all(axis=0)
    together = features.transpose(1, 0, 2).reshape(1, features.shape[1], -1)
    unknown = np.zeros_like(together[:, :, :1])  # a segment that never changed may be any bit, so it is not known
    together = np.concatenate([together, unknown], axis=2)
    varying = varied(together)
    possible = fits.reshape(2, 1, features.shape[1], -1) & varying[..., None]
    if not apart(possible, varying) or (wires := wires_of(possible, together, 0)) is None:
        return None
    places = [tuple(BitAt(at + int(step), turned) for at, turned in wires.bits) for step in pattern]
    return Agreed(places, wires.codes)
