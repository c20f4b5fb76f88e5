"""Finds the bits of the number, by comparing each bit of the frames with each bit of what was shown.

A bit of the number, in whatever encoding, wiring, order and mask, is set where it should be, always, or never where it
is inverted. So one comparison of all bits with all serves for BCD, ASCII, nibbles, segments and integers alike. Which
bits belong together follows from a regular layout: the same for each digit, a constant step apart. What has none is
taken bit by bit, and then only as far as it was seen.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from meterlog_drivers.teach.digits.codes import codes_of, shared, tied, with_blank_bits
from meterlog_drivers.teach.digits.explaining import agreed_wires
from meterlog_drivers.teach.digits.features import (
    Features,
    compared,
    decimal_features,
    integer_features,
    segment_features,
    varied,
)
from meterlog_drivers.teach.digits.integers import bits_used, widened
from meterlog_drivers.teach.digits.layouts import (
    Layout,
    Misses,
    best_of,
    contradicting,
    decimal_layouts,
    explained,
    integer_layouts,
    segment_layouts,
)
from meterlog_drivers.teach.digits.number_fit import BitAt, Bits, NumberFit
from meterlog_drivers.teach.moments import Label

Rows = NDArray[np.int64]

KINDS = ("decimal", "signed", "integer", "segments")
LEAST_NUMBERS = 4
"""Different numbers without which nothing is concluded (guess: each halves what is left by chance)."""
LEAST_SCATTERED = 10
"""Moments without which bits that lie anywhere are not believed: by chance one of a hundred bits fits eight (2**-8)."""
LEAST_EVIDENCE = 20
"""Bits of evidence: a layout found among 2**13 by chance has 2**-7 of fitting; a choice."""
LEAST_PLAIN = 13
"""The same of digits of a half-byte each, one a byte, upright: there are 2**6 such layouts in a frame."""
MOST_OUTLIERS = 0.5
"""The share of moments that may contradict at first, before late answers have found their frames; a guess."""


def find_numbers(
    labels: Sequence[Label], bits: Bits, hidden: Sequence[int] = (), kinds: Sequence[str] = KINDS
) -> list[NumberFit]:
    """Find every encoding that explains what was shown; of the kinds, the first that does.

    Args:
        labels: what was shown, without overloads.
        bits: the frame of each.
        hidden: how many of each number's last digits may have changed between frame and typing.
        kinds: of encoding, that are looked for.

    Returns:
        The hypotheses: one where it is found, several where they differ, none where nothing fits.
    """
    hidden = hidden or [0] * len(labels)
    for kind in kinds:
        if any(hidden) and kind in ("signed", "integer"):
            continue
        rows = np.arange(len(labels))
        for _ in range(2):
            kept = [labels[int(n)] for n in rows]
            if len({label.digits for label in kept}) < LEAST_NUMBERS or (
                kind == "signed" and not any(label.minus for label in kept)
            ):
                break
            unsure = [hidden[int(n)] for n in rows]
            features = _features(kind, kept)
            for n, count in enumerate(unsure):
                features[:count, :, n] = 0
            misses, inverted = compared(features, bits[rows])
            best = best_of(_layouts(kind, misses, kept, features))
            if not best:
                break
            if best[0].misses == 0:
                fits = [
                    _fit(kind, one, kept, features, inverted, bits[rows], rows, unsure)
                    for one in _alike(best, inverted)
                ]
                if found := different([fit for fit in fits if fit is not None]):
                    return found
                break
            right = explained(best[0], features, inverted, bits[rows])
            rows = rows[right]
            if len(rows) < (1 - MOST_OUTLIERS) * len(labels):
                break
    return []


def settled(
    kind: str, labels: Sequence[Label], bits: Bits, near: Sequence[Sequence[int]], frames: Sequence[int]
) -> list[int]:
    """Choose for each number the frame near it that agrees most with the layout that all together suggest.

    Args:
        kind: of encoding.
        labels: what was shown, without overloads.
        bits: of all frames.
        near: the frames near each, the likeliest first.
        frames: what to begin with.
    """
    features, chosen = _features(kind, labels), list(frames)
    for _ in range(SETTLES):
        misses, inverted = compared(features, bits[chosen])
        best = best_of(_layouts(kind, misses, labels, features))
        if not best or best[0].misses == 0:
            break
        better = [
            min(own, key=lambda at: contradicting(best[0], features[:, :, n], inverted, bits[at]))
            for n, own in enumerate(near)
        ]
        if better == chosen:
            break
        chosen = better
    return chosen


SETTLES = 4
"""Rounds in which frames and layout find each other; a guess."""


def _features(kind: str, labels: Sequence[Label]) -> Features:
    if kind == "decimal":
        return decimal_features(labels)
    if kind == "segments":
        return segment_features(labels)
    return integer_features(labels, kind == "signed")


def _layouts(kind: str, misses: Misses, labels: Sequence[Label], features: Features) -> list[Layout]:
    if kind == "decimal":
        return decimal_layouts(misses)
    if kind == "segments":
        return segment_layouts(misses, varied(features, axis=(0, 2)))
    return integer_layouts(misses, bits_used(labels) + (kind == "signed"))


def _alike(layouts: Sequence[Layout], inverted: Bits) -> list[Layout]:
    """Those whose places are inverted alike, where there are any: a mask is seldom different for each digit."""
    alike = [one for one in layouts if one.regular and _inverted_alike(one, inverted)]
    return alike or list(layouts)


def _inverted_alike(layout: Layout, inverted: Bits) -> bool:
    at = layout.at[:, : inverted.shape[1]]
    place, k = np.indices(at.shape)
    turned = inverted[place, k, at] & (at >= 0)
    return bool((turned == turned[0]).all())


def _fit(
    kind: str,
    layout: Layout,
    labels: Sequence[Label],
    features: Features,
    inverted: Bits,
    bits: Bits,
    rows: Rows,
    hidden: Sequence[int],
) -> NumberFit | None:
    """Make a hypothesis of a layout that fits; None where too little speaks for it, or its codes contradict."""
    varying = varied(features)
    if not _believable(kind, layout, features, inverted, labels):
        return None
    if not layout.regular and len(rows) < LEAST_SCATTERED:
        return None
    moments = tuple(int(n) for n in rows)
    if kind in ("integer", "signed"):
        wide = widened(kind, layout, labels, features, inverted, bits)
        row = tuple(BitAt(int(at), bool(inverted[0, k, at])) for k, at in enumerate(wide))
        return NumberFit(kind, (row[::-1],), (), moments, layout.regular)
    bits_each = inverted.shape[1]
    places = []
    for place, row_at in enumerate(layout.at):
        wires = [
            BitAt(int(at), bool(k < bits_each and inverted[place, k, at]))
            for k, at in enumerate(row_at)
            if at >= 0 and (layout.regular or k >= bits_each or varying[place, k])
        ]
        places.append(tuple(wires[::-1]))
    if not all(places):
        return None
    whole = layout.regular and layout.at.shape[1] == bits_each and not tied(kind, features, varying)
    if kind == "decimal" and layout.regular:
        places = with_blank_bits(places, labels, bits)
    if kind == "segments" and layout.regular and not whole:
        return _agreed_fit(layout, labels, features, bits, moments)
    codes = codes_of(kind, places, labels, bits, hidden, whole)
    if codes is None:
        return None
    if layout.regular and not whole and _inverted_alike(layout, inverted):
        codes = shared(codes)
    return NumberFit(kind, tuple(places), codes, moments, whole, layout.regular)


def _agreed_fit(
    layout: Layout, labels: Sequence[Label], features: Features, bits: Bits, moments: tuple[int, ...]
) -> NumberFit | None:
    """Make a hypothesis of segments that are not all known: of what every wiring reads alike, and of blanks."""
    first = layout.at[:, int((layout.at[0] >= 0).argmax())]
    known = agreed_wires(features, bits, first - first[0])
    if known is None:
        return None
    bare = NumberFit("segments", tuple(known.places), (), (), structured=False)
    tables = [dict(known.codes) for _ in known.places]
    for frame, label in zip(bits, labels, strict=True):
        for place in range(len(label.digits), len(tables)):
            tables[place].setdefault(bare.code(frame, place), " ")
    return replace(bare, codes=tuple(tables), moments=moments, regular=False)


def _believable(kind: str, layout: Layout, features: Features, inverted: Bits, labels: Sequence[Label]) -> bool:
    """Tell whether enough speaks for a layout: more for one of many that are possible than for one of few."""
    first = {label.digits: n for n, label in enumerate(labels)}
    if kind != "decimal" or not layout.regular:
        varying = varied(features)[:, : layout.at.shape[1]]
        return (len(first) - 1) * min(6, int(varying.sum())) >= LEAST_EVIDENCE
    different = features[:, :, list(first.values())]
    known = (different != 0).sum(axis=2)
    evidence = int((known - 1)[varied(different)].sum())
    low = layout.at[:, 0]
    plain = (layout.at[0] == low[0] - np.arange(4)).all() and low[0] % 4 == 3 and (np.abs(np.diff(low)) == 8).all()
    plain = plain and not inverted[0, np.arange(4), layout.at[0]].any()
    return evidence >= (LEAST_PLAIN if plain else LEAST_EVIDENCE)


def different(fits: Sequence[NumberFit]) -> list[NumberFit]:
    """Hypotheses that differ in what they look at."""
    return list({(fit.kind, fit.places): fit for fit in fits}.values())
