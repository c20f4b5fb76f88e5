"""The meaning of a binary frame: a frames profile, read from TOML.

Bytes are counted from 1, bits of a byte from 0, the least significant. A value in a map is ASCII text, `"18"`, or
bytes in hex, `"0x3138"`. Words say what the meter's display shows:

- symbols: `V A ohm Hz F % degC degF beep diode`, the prefixes `p n u m k M`, `ac dc auto hold relative minimum maximum
  low-battery`, and `bar auto-power-off rs232` which say nothing about the reading
- `minus`, `overload`
- `point0` .. `point6`: so many decimals
- `column0` .. `column7`: which of several displays

Top level: `kind = "frames"`, `about`, `lines = ["9600 8N1"]`, and these tables:

- `[frame]`: `length`; `start` and `end`, bytes as on the wire, `[0x02]`; in their place `gap_ms`, when a frame begins
  after a pause of that length; `xor`, a mask that is repeated over the bytes `xor_from` to `xor_to`
- `[checksum]`: `kind` (sum8 sum16 xor8 crc8 crc16), `at`, `from` and `to` (the bytes covered, as on the wire), `order`
  (big little), and `polynomial initial reflected final_xor negate`
- `[number]`: `digits` (ascii nibble bcd seven-segment integer); `at = [2, 3, 4, 5]`, most significant first, or lists
  of bytes with their `masks` where a digit is spread; `signed` and `order` of an integer; `overload`, the digits' text
  that means it; `leading_blanks`; `decimals` when they are always the same
- `[number.segments]`: `"0x7D" = "0"`, seven-segment codes and their character, a space for blank
- `[[map]]`: `at`, `mask`, `[map.values]` with `"18" = "dc m V"`, the words of each value; another value is no frame, or
  one that is refused where `unknown = "refused"`
- `[bits]`: `"8.5" = "auto"`, the words of a bit that is set; `[bits_clear]`: of a bit that is clear
- `[[fixed]]`: `at`, `value`, `mask`: what is the same in every frame
- `[[unused]]`: `at`, `mask`: bits that are never set; a frame with one is refused
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

from meterlog.transports import LineSettings
from meterlog_drivers.display.symbols import SYMBOLS
from meterlog_drivers.formats.checksums import KINDS, Checksum, checksum
from meterlog_drivers.profiles.profile_file import Table
from meterlog_drivers.profiles.profile_lines import profile_lines

LONGEST_FRAME = 256
"""Bytes; far more than any framing here has. A bound for what a stranger's profile makes us keep, a choice."""
_MOST_GAP_MS = 10_000
"""The longest pause that may tell frames apart, ms; a meter that pauses longer would be taken for silent. A choice."""
MOST_INTEGER_BYTES = 8
"""A 64-bit integer; a choice."""
_WORD = re.compile(r"point[0-6]|column[0-7]|minus|overload")
_BIT = re.compile(r"(\d+)\.([0-7])")


class Check(NamedTuple):
    """The frame's checksum: bytes `first` to `last` (from 0, exclusive) give the `size` bytes at `at`."""

    at: int
    size: int
    first: int
    last: int
    order: str
    of: Checksum


class Number(NamedTuple):
    """The way digits are written in a frame."""

    digits: str
    at: tuple[tuple[int, ...], ...]
    masks: tuple[int, ...]
    segments: dict[int, str]
    overload: tuple[str, ...]
    leading_blanks: bool
    signed: bool
    order: str
    decimals: int | None


class Map(NamedTuple):
    """Bytes (each with the mask) whose value says words."""

    at: tuple[int, ...]
    mask: int
    values: dict[bytes, frozenset[str]]
    unknown_refused: bool


class Fixed(NamedTuple):
    """A byte that, masked, is always the same."""

    at: int
    mask: int
    value: int


@dataclass(frozen=True)
class FrameProfile:
    """A frames profile with its byte positions counted from 0."""

    about: str
    lines: tuple[LineSettings, ...]
    length: int
    start: bytes
    end: bytes
    gap_s: float
    xor: bytes
    check: Check | None
    number: Number
    maps: tuple[Map, ...]
    bits: dict[tuple[int, int], frozenset[str]]
    bits_clear: dict[tuple[int, int], frozenset[str]]
    fixed: tuple[Fixed, ...]
    unused: tuple[Fixed, ...]

    @property
    def columns(self) -> int:
        """The number of columns that its words name; one where they name none."""
        mapped = (words for one in self.maps for words in one.values.values())
        said: frozenset[str] = frozenset().union(*mapped, *self.bits.values(), *self.bits_clear.values())
        return 1 + max((int(word[6:]) for word in said if word.startswith("column")), default=0)


def frame_profile(profile: Table) -> FrameProfile:
    """Check a frames profile and take it apart.

    Raises:
        ProfileError: something in it is wrong; with its line.
    """
    frame = profile.table("frame")
    length = frame.integer("length", None, 2, LONGEST_FRAME)
    start, end = _bytes(frame, "start"), _bytes(frame, "end")
    gap_ms = frame.integer("gap_ms", 0, 0, _MOST_GAP_MS)
    if len(start) + len(end) >= length:
        raise frame.error("start and end leave no bytes between them", "length")
    if gap_ms and (start or end):
        raise frame.error("give either gap_ms, or start and end", "gap_ms")
    mask = _xor(frame, length, len(start), len(end))
    frame.finish()
    check = _check(profile.table("checksum"), length) if profile.has("checksum") else None
    fixed = tuple(_fixed(t, length) for t in profile.tables("fixed"))
    if not (start or end or gap_ms or check or fixed):
        raise profile.error("nothing tells where a frame begins: give start, end, gap_ms, a checksum or fixed bytes")
    result = FrameProfile(
        about=profile.text("about", ""),
        lines=profile_lines(profile),
        length=length,
        start=start,
        end=end,
        gap_s=gap_ms / 1000,
        xor=mask,
        check=check,
        number=_number(profile.table("number"), length),
        maps=tuple(_map(t, length) for t in profile.tables("map")),
        bits=dict(_bits(profile.table("bits"), length)),
        bits_clear=dict(_bits(profile.table("bits_clear"), length)),
        fixed=fixed,
        unused=tuple(_unused(t, length) for t in profile.tables("unused")),
    )
    if not result.maps and not result.bits and not result.bits_clear:
        raise profile.error("nothing says what is measured: give a [[map]] or [bits]")
    profile.finish()
    return result


def _bytes(table: Table, key: str) -> bytes:
    values = table.integers(key, [])
    if not all(0 <= v <= 255 for v in values):
        raise table.error(f"{key} must be bytes, 0 to 255", key)
    return bytes(values)


def _place(table: Table, key: str, length: int, default: int | None = None) -> int:
    return table.integer(key, default, 1, length) - 1


def _places(table: Table, length: int) -> tuple[int, ...]:
    """`at`, one byte or several."""
    if isinstance(table.values.get("at"), list):
        places = table.integers("at")
        if not places or not all(1 <= p <= length for p in places):
            raise table.error(f"at must be bytes from 1 to {length}", "at")
        return tuple(p - 1 for p in places)
    return (_place(table, "at", length),)


def _xor(frame: Table, length: int, start: int, end: int) -> bytes:
    key = _bytes(frame, "xor")
    first = _place(frame, "xor_from", length, start + 1)
    last = frame.integer("xor_to", length - end, 1, length)
    if not key:
        return b""
    if first >= last:
        raise frame.error("xor_from is greater than xor_to", "xor_from")
    return bytes(key[(n - first) % len(key)] if first <= n < last else 0 for n in range(length))


def _check(table: Table, length: int) -> Check:
    kind = table.text("kind", choices=KINDS)
    size = KINDS[kind]
    at = _place(table, "at", length)
    first, last = _place(table, "from", length), table.integer("to", None, 1, length)
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


def _number(table: Table, length: int) -> Number:
    digits = table.text("digits", choices=("ascii", "nibble", "bcd", "seven-segment", "integer"))
    at, masks = _digit_places(table, length)
    segments: dict[int, str] = {}
    codes = table.table("segments")
    for code in codes.items():
        glyph = codes.text(code)
        if len(glyph) != 1:
            raise codes.error("a segment code stands for one character", code)
        segments[int.from_bytes(_value(codes, code), "big")] = glyph
    if (digits == "seven-segment") != bool(segments):
        raise table.error("seven-segment digits, and only those, need [number.segments]", "digits")
    if digits == "integer" and len(at) > MOST_INTEGER_BYTES:
        raise table.error(f"an integer has at most {MOST_INTEGER_BYTES} bytes", "at")
    decimals = table.integer("decimals", 0, 0, 6) if table.has("decimals") else None
    result = Number(
        digits,
        at,
        masks,
        segments,
        tuple(table.texts("overload", [])),
        table.yes("leading_blanks", False),
        table.yes("signed", False),
        table.text("order", "big", ("big", "little")),
        decimals,
    )
    table.finish()
    return result


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
    return tuple((p,) for p in _places(table, length)), (0xFF,)


def _run(mask: int) -> bool:
    shifted = mask // (mask & -mask) if 0 < mask <= 255 else 0
    return shifted > 0 and math.log2(shifted + 1).is_integer()


def _value(table: Table, key: str) -> bytes:
    """A map's key: ASCII text, or bytes in hex after `0x`."""
    if key.startswith("0x"):
        try:
            return bytes.fromhex(key[2:])
        except ValueError:
            raise table.error(f"'{key}' is not bytes in hex: two digits a byte", key) from None
    if not key.isascii():
        raise table.error(f"'{key}' is not ASCII: write bytes in hex, \"0x..\"", key)
    return key.encode("ascii")


def _words(table: Table, key: str) -> frozenset[str]:
    words = table.text(key).split()
    for word in words:
        if word not in SYMBOLS and not _WORD.fullmatch(word):
            known = ", ".join(sorted(filter(None, SYMBOLS)))
            raise table.error(f"'{word}' is not a symbol; known are {known}, minus, overload, point0-6, column0-7", key)
    return frozenset(words)


def _map(table: Table, length: int) -> Map:
    at = _places(table, length)
    mask = table.integer("mask", 0xFF, 1, 255)
    values = table.table("values")
    found = {_value(values, key): _words(values, key) for key in values.items()}
    if not found or any(len(value) != len(at) for value in found):
        raise values.error(f"each value must have {len(at)} byte(s), as many as 'at'")
    if any(byte & ~mask for value in found for byte in value):
        raise values.error("a value has bits outside the mask")
    refused = table.text("unknown", "no frame", ("no frame", "refused")) == "refused"
    table.finish()
    return Map(at, mask, found, refused)


def _bits(table: Table, length: int) -> Iterator[tuple[tuple[int, int], frozenset[str]]]:
    for key in table.items():
        place = _BIT.fullmatch(key)
        if not place or not 1 <= int(place[1]) <= length:
            raise table.error(f"'{key}' must have the form \"byte.bit\", bytes 1 to {length}, bits 0 to 7", key)
        yield (int(place[1]) - 1, 1 << int(place[2])), _words(table, key)


def _fixed(table: Table, length: int) -> Fixed:
    mask = table.integer("mask", 0xFF, 1, 255)
    fixed = Fixed(_place(table, "at", length), mask, table.integer("value", None, 0, 255))
    if fixed.value & ~mask:
        raise table.error("value has bits outside the mask", "value")
    table.finish()
    return fixed


def _unused(table: Table, length: int) -> Fixed:
    unused = Fixed(_place(table, "at", length), table.integer("mask", None, 1, 255), 0)
    table.finish()
    return unused
