"""Tells what the bits of each digit mean: the codes of digits and blanks, as far as they were seen or are standard."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from meterlog_drivers.teach.digits.features import EITHER, GLYPHS, SEGMENTS, Features, digit
from meterlog_drivers.teach.digits.number_fit import BitAt, Bits, NumberFit
from meterlog_drivers.teach.moments import Label


def codes_of(
    kind: str,
    places: Sequence[tuple[BitAt, ...]],
    labels: Sequence[Label],
    bits: Bits,
    hidden: Sequence[int],
    whole: bool,
) -> tuple[dict[int, str], ...] | None:
    """The codes of each place; None where one code would mean two digits."""
    known = NumberFit(kind, tuple(places), (), (), whole)
    tables: list[dict[int, str]] = [{} for _ in places]
    shared = _standard_codes(kind) if whole else {}
    for n, label in enumerate(labels):
        for place, table in enumerate(tables):
            value = digit(label, place)
            if (
                value is not None
                and place >= hidden[n]
                and table.setdefault(known.code(bits[n], place), str(value)) != str(value)
            ):
                return None
    if whole and any(shared.get(code) != glyph for table in tables for code, glyph in table.items()):
        return None
    tables = [{**shared, **table} for table in tables]
    for n, label in enumerate(labels):
        for place, table in enumerate(tables):
            code = known.code(bits[n], place)
            if digit(label, place) is None and table.setdefault(code, " ") not in " 0":
                return None
    if whole:
        blanks = {code for table in tables for code, glyph in table.items() if glyph == " "}
        tables = [{**dict.fromkeys(blanks, " "), **table} for table in tables]
    return tuple(tables)


def _standard_codes(kind: str) -> dict[int, str]:
    """Return what four bits or seven segments mean by themselves."""
    if kind == "decimal":
        return {value: str(value) for value in range(10)}
    codes = {0: " "}
    for value, lit in enumerate(GLYPHS):
        for shape in {lit, "".join(set(lit) ^ {EITHER.get(value, lit[0])}) if value in EITHER else lit}:
            codes[sum(1 << SEGMENTS.index(segment) for segment in shape)] = str(value)
    return codes


def shared(codes: tuple[dict[int, str], ...]) -> tuple[dict[int, str], ...]:
    """The codes that any place has shown, for all of them; as they were where they contradict each other."""
    together: dict[int, str] = {}
    for table in codes:
        for code, glyph in table.items():
            if together.setdefault(code, glyph) != glyph and " " not in (glyph, together[code]):
                return codes
    return tuple({**together, **table} for table in codes)


def tied(kind: str, features: Features, varying: Bits) -> bool:
    """Tell whether two segments, or one all the time, were alike in all that was shown: which is which is then open."""
    if kind != "segments":
        return False
    seen = features.transpose(1, 0, 2).reshape(features.shape[1], -1)
    pairs = combinations(seen, 2)
    alike = any((np.where((a != 0) & (b != 0), a, 0) == np.where((a != 0) & (b != 0), b, 0)).all() for a, b in pairs)
    return alike or not varying.any(axis=0).all()


def with_blank_bits(
    places: Sequence[tuple[BitAt, ...]], labels: Sequence[Label], bits: Bits
) -> list[tuple[BitAt, ...]]:
    """The bits of each digit, and in front of them those beside it that only a blank in its place changes.

    A blank in characters is 0x20 where a digit is 0x30 to 0x39: its four low bits are those of a zero. What was seen of
    one place holds for all, since their layout is the same.
    """
    taken = {bit.at for place in places for bit in place}
    lows = [place[-1].at for place in places]
    found: list[int] = []
    own_byte_first = sorted(range(-8, 9), key=lambda n: (any((low + n) // 8 != low // 8 for low in lows), abs(n)))
    for beside in own_byte_first[1:]:
        at = [low + beside for low in lows]
        if taken & set(at) or min(at) < 0 or max(at) >= bits.shape[1]:
            continue
        typed = [
            [bool(bits[n, a]) for n, label in enumerate(labels) if digit(label, p) is not None]
            for p, a in enumerate(at)
        ]
        blank = [
            {bool(bits[n, a]) for n, label in enumerate(labels) if digit(label, p) is None} for p, a in enumerate(at)
        ]
        if all(len(set(column)) == 1 for column in typed) and any(blank[p] - set(typed[p]) for p in range(len(at))):
            found.append(beside)
            taken |= set(at)  # where several places are blank at once, a neighbour's bit looks like one's own
    more = [
        tuple(BitAt(low + n, bool(_typed_value(bits, labels, p, low + n))) for n in found) for p, low in enumerate(lows)
    ]
    return [(*front, *place) for front, place in zip(more, places, strict=True)]


def _typed_value(bits: Bits, labels: Sequence[Label], place: int, at: int) -> bool:
    """A bit as it is where a digit was typed in a place."""
    return next(bool(bits[n, at]) for n, label in enumerate(labels) if digit(label, place) is not None)
