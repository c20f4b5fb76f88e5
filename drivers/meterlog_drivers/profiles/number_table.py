"""Reads the table `[number]` of a frames profile: how digits are written."""

from __future__ import annotations

import math
import re

from meterlog_drivers.profiles.frame_parts import INTEGERS, Number, Wire
from meterlog_drivers.profiles.frame_places import places_of, value_of
from meterlog_drivers.profiles.profile_file import Table

MOST_INTEGER_BYTES = 8
"""A 64-bit integer; a choice."""
_WIRE = re.compile(r"(~?)(\d+)\.([0-7])")
_WIRED = ("wired", "wired-integer")


def number_of(table: Table, length: int) -> Number:
    """Read how digits are written.

    Raises:
        ProfileError: something in it is wrong; with its line.
    """
    digits = table.text("digits", choices=("ascii", "nibble", "bcd", "seven-segment", "integer", *_WIRED))
    wires = _wires(table, length, digits == "wired-integer") if digits in _WIRED else ()
    at, masks = _digit_places(table, length) if not wires else ((), ())
    shared, own = _segments(table.table("segments"), len(wires))
    if (digits in ("seven-segment", "wired")) != bool(shared or any(own)):
        raise table.error("seven-segment and wired digits, and only those, need [number.segments]", "digits")
    if any(own) and digits != "wired":
        raise table.error("only wired digits have codes of one digit alone", "digits")
    if digits == "integer" and len(at) > MOST_INTEGER_BYTES:
        raise table.error(f"an integer has at most {MOST_INTEGER_BYTES} bytes", "at")
    decimals = table.integer("decimals", 0, 0, 6) if table.has("decimals") else None
    result = Number(
        digits,
        at,
        masks,
        shared,
        tuple(table.texts("overload", [])),
        table.yes("leading_blanks", False),
        table.yes("signed", False),
        table.text("order", "big", ("big", "little")),
        decimals,
        wires,
        tuple(shared | one for one in own),
        _most(table, digits),
        tuple(table.integers("unscaled_overload", [])),
    )
    table.finish()
    return result


def _most(table: Table, digits: str) -> int | None:
    if table.has("most") and digits not in INTEGERS:
        raise table.error("only an integer has a most", "most")
    return table.integer("most", 0, 1, (1 << 8 * MOST_INTEGER_BYTES) - 1) if table.has("most") else None


def _segments(table: Table, places: int) -> tuple[dict[int, str], list[dict[int, str]]]:
    """Read codes and their characters: those of every digit, and those of each alone."""
    shared: dict[int, str] = {}
    own: list[dict[int, str]] = [{} for _ in range(places)]
    for key in table.items():
        place, colon, code = key.rpartition(":")
        glyph = table.text(key)
        if len(glyph) != 1:
            raise table.error("a segment code stands for one character", key)
        if colon and not (place.isdecimal() and 1 <= int(place) <= places):
            raise table.error(f"'{key}' must begin with a digit's number, 1 to {places}", key)
        codes = own[int(place) - 1] if colon else shared
        codes[int.from_bytes(value_of(table, code), "big")] = glyph
    return shared, own


def _wires(table: Table, length: int, one_number: bool) -> tuple[tuple[Wire, ...], ...]:
    """Read the bits of digits in any wiring."""
    rows = [table.texts("bits")] if one_number else table.nested_texts("bits")
    wires = tuple(tuple(_wire(table, text, length) for text in row) for row in rows)
    twice = any(len({(wire.at, wire.bit) for wire in row}) < len(row) for row in wires)
    if not all(wires) or not wires or twice:
        raise table.error("bits must name at least one bit for each digit, and each only once in it", "bits")
    if one_number and len(wires[0]) > 8 * MOST_INTEGER_BYTES:
        raise table.error(f"an integer has at most {8 * MOST_INTEGER_BYTES} bits", "bits")
    return wires


def _wire(table: Table, text: str, length: int) -> Wire:
    place = _WIRE.fullmatch(text)
    if not place or not 1 <= int(place[2]) <= length:
        raise table.error(f"'{text}' must have the form \"byte.bit\", bytes 1 to {length}, bits 0 to 7", "bits")
    return Wire(int(place[2]) - 1, 1 << int(place[3]), bool(place[1]))


def _digit_places(table: Table, length: int) -> tuple[tuple[tuple[int, ...], ...], tuple[int, ...]]:
    """Read where each digit is: one byte, or several whose masked bits are put together."""
    value = table.values.get("at")
    if isinstance(value, list) and value and all(isinstance(v, list) for v in value):
        masks = table.integers("masks")
        rows = table.nested_integers("at")
        if not all(len(row) == len(masks) and all(1 <= p <= length for p in row) for row in rows):
            raise table.error("each digit must have as many bytes of the frame as there are masks", "at")
        if not masks or not all(_run(m) for m in masks):
            raise table.error("a mask must be a run of bits such as 0x0F", "masks")
        return tuple(tuple(p - 1 for p in row) for row in rows), tuple(masks)
    return tuple((p,) for p in places_of(table, length)), (0xFF,)


def _run(mask: int) -> bool:
    shifted = mask // (mask & -mask) if 0 < mask <= 255 else 0
    return shifted > 0 and math.log2(shifted + 1).is_integer()
