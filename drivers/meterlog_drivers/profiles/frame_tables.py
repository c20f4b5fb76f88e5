"""Reads the tables of a frames profile, whose words `frame_profile.py` explains."""

from __future__ import annotations

import re
from collections.abc import Iterator

from meterlog_drivers.display.symbols import SYMBOLS
from meterlog_drivers.formats.checksums import KINDS, checksum
from meterlog_drivers.profiles.frame_parts import Check, DisplayProfile, Fixed, Map
from meterlog_drivers.profiles.frame_places import place_of, places_of, value_of
from meterlog_drivers.profiles.number_table import number_of
from meterlog_drivers.profiles.profile_file import Table

_WORD = re.compile(r"point[0-6]|column[0-7]|e-(?:[1-9]|1[0-2])|e[0-6]|minus|overload|unscaled")
_BIT = re.compile(r"(\d+)\.([0-7])")
COUNT = "count"
"""A word that a person may tell: the amount of one count, for example 1mV."""


def bytes_of(table: Table, key: str) -> bytes:
    """Read bytes, `[0x02, 0x34]`; none where the key is absent."""
    values = table.integers(key, [])
    if not all(0 <= v <= 255 for v in values):
        raise table.error(f"{key} must be bytes, 0 to 255", key)
    return bytes(values)


def repeated_bytes(frame: Table, name: str, length: int, start: int, end: int) -> bytes:
    """Read bytes that are repeated over a part of the frame; all between `start` and `end` where it names none."""
    key = bytes_of(frame, name)
    first = place_of(frame, f"{name}_from", length, start + 1)
    last = frame.integer(f"{name}_to", length - end, 1, length)
    if not key:
        return b""
    if first >= last:
        raise frame.error(f"{name}_from is greater than {name}_to", f"{name}_from")
    return bytes(key[(n - first) % len(key)] if first <= n < last else 0 for n in range(length))


def check_of(table: Table, length: int) -> Check:
    """Read the checksum's table."""
    kind = table.text("kind", choices=KINDS)
    size = KINDS[kind]
    at = place_of(table, "at", length)
    first, last = place_of(table, "from", length), table.integer("to", None, 1, length)
    most = (1 << 8 * size) - 1
    if first >= last:
        raise table.error("from is greater than to", "from")
    if at + size > length or (first < at + size and at < last):
        raise table.error("the checksum covers itself or extends beyond the frame", "at")
    if kind.startswith("crc") and not table.has("polynomial"):
        raise table.error(f"a {kind} needs its polynomial")
    function = checksum(
        kind,
        table.integer("polynomial", 0, 0, most),
        table.integer("initial", 0, 0, most),
        table.yes("reflected", False),
        table.integer("final_xor", 0, 0, most),
        table.yes("negate", False),
    )
    order = table.text("order", "big", ("big", "little"))
    table.finish()
    return Check(at, size, first, last, order, function)


def display_of(table: Table, length: int) -> DisplayProfile:
    """Read the tables of one display.

    Raises:
        ProfileError: something in them is wrong; with its line.
    """
    maps = tuple(_map(t, length) for t in table.tables("map"))
    if sum(bool(one.asked) for one in maps) > 1:
        raise table.error("only one [[map]] can be asked")
    result = DisplayProfile(
        number_of(table.table("number"), length),
        maps,
        dict(_bits(table.table("bits"), length)),
        dict(_bits(table.table("bits_clear"), length)),
        tuple(_unused(t, length) for t in table.tables("unused")),
        tuple(fixed_of(t, length) for t in table.tables("steady")),
    )
    if not result.maps and not result.bits and not result.bits_clear:
        raise table.error("nothing says what is measured: give a [[map]] or [bits]")
    return result


def _words(table: Table, key: str) -> frozenset[str]:
    words = table.text(key).split()
    for word in words:
        if word not in SYMBOLS and not _WORD.fullmatch(word):
            known = ", ".join(sorted(filter(None, SYMBOLS)))
            raise table.error(
                f"'{word}' is not a symbol; known are {known}, minus, overload, unscaled, point0-6, e-12 to e6,"
                " column0-7",
                key,
            )
    return frozenset(words)


def _map(table: Table, length: int) -> Map:
    at = places_of(table, length)
    masks = _masks(table, len(at))
    if table.has("asked"):
        return _asked(table, at, masks)
    values = table.table("values")
    found = {value_of(values, key): _words(values, key) for key in values.items()}
    if not found or any(len(value) != len(at) for value in found):
        raise values.error(f"each value must have {len(at)} byte(s), as many as 'at'")
    if any(byte & ~mask for value in found for byte, mask in zip(value, masks, strict=True)):
        raise values.error("a value has bits outside the mask")
    refused = table.text("unknown", "no frame", ("no frame", "refused")) == "refused"
    table.finish()
    return Map(at, masks, found, refused)


def _asked(table: Table, at: tuple[int, ...], masks: tuple[int, ...]) -> Map:
    """A map whose values a person must tell."""
    asked = table.texts("asked")
    for word in asked:
        if word != COUNT and word not in SYMBOLS and not _WORD.fullmatch(word):
            raise table.error(f"'{word}' is neither {COUNT} nor a symbol", "asked")
    result = Map(at, masks, {}, True, tuple(asked), table.text("question"))
    table.finish()
    return result


def _masks(table: Table, count: int) -> tuple[int, ...]:
    """`mask`, the same for each byte, or `masks`, one for each."""
    if not table.has("masks"):
        return (table.integer("mask", 0xFF, 1, 255),) * count
    masks = table.integers("masks")
    if len(masks) != count or not all(1 <= mask <= 255 for mask in masks):
        raise table.error(f"masks must be {count} of them, 1 to 255, as many as 'at'", "masks")
    return tuple(masks)


def _bits(table: Table, length: int) -> Iterator[tuple[tuple[int, int], frozenset[str]]]:
    for key in table.items():
        place = _BIT.fullmatch(key)
        if not place or not 1 <= int(place[1]) <= length:
            raise table.error(f"'{key}' must have the form \"byte.bit\", bytes 1 to {length}, bits 0 to 7", key)
        yield (int(place[1]) - 1, 1 << int(place[2])), _words(table, key)


def fixed_of(table: Table, length: int) -> Fixed:
    """Read bits that are always the same."""
    mask = table.integer("mask", 0xFF, 1, 255)
    fixed = Fixed(place_of(table, "at", length), mask, table.integer("value", None, 0, 255))
    if fixed.value & ~mask:
        raise table.error("value has bits outside the mask", "value")
    table.finish()
    return fixed


def _unused(table: Table, length: int) -> Fixed:
    unused = Fixed(place_of(table, "at", length), table.integer("mask", None, 1, 255), 0)
    table.finish()
    return unused
