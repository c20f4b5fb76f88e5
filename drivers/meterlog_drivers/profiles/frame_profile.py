"""The meaning of a binary frame: a frames profile, read from TOML.

Bytes are counted from 1, bits of a byte from 0, the least significant. A value in a map is ASCII text, `"18"`, or
bytes in hex, `"0x3138"`. Words say what the meter's display shows:

- symbols: `V A ohm Hz F % degC degF beep diode`, the prefixes `p n u m k M`, `ac dc auto hold relative minimum maximum
  low-battery`, and `bar auto-power-off rs232` which say nothing about the reading
- `minus`, `overload`
- `point0` .. `point6`: so many decimals
- `column0` .. `column7`: which of several displays
- `e-12` .. `e6`: one count is that power of ten of the unit, in place of a prefix and a point
- `unscaled`: where the point stands is not known here: no number is read, an overload is

Top level: `kind = "frames"`, `about`, `lines = ["9600 8N1"]`, and these tables:

- `[frame]`: `length`; `start` and `end`, bytes as on the wire, `[0x02]`; in their place `gap_ms`, when a frame begins
  after a pause of that length; `xor`, a mask that is repeated over the bytes `xor_from` to `xor_to`; `offset`, bytes
  that are added to them before, `offset_from` to `offset_to`; `parity` (odd even), the top bit of every byte
- `[checksum]`: `kind` (sum8 sum16 xor8 crc8 crc16), `at`, `from` and `to` (the bytes covered, as on the wire), `order`
  (big little), and `polynomial initial reflected final_xor negate`
- `[number]`: `digits` (ascii nibble bcd seven-segment integer wired wired-integer); `at = [2, 3, 4, 5]`, most
  significant first, or lists of bytes with their `masks` where a digit is spread; `signed` and `order` of an integer;
  `overload`, the digits' text that means it; `leading_blanks`; `decimals` when they are always the same
- digits in any wiring have `bits` in place of `at`, the highest first, `~` before one that is inverted: of each digit,
  `[["2.2", "2.1", "3.3"], ...]`, or of the whole `wired-integer`, `["4.7", "4.6", ...]`
- `[number.segments]`: `"0x7D" = "0"`, the codes of seven-segment or wired digits and their character, a space for
  blank; `"2:0x7D"` is a code of the second digit alone
- `[[map]]`: `at`, `mask` or, for each byte, `masks`, `[map.values]` with `"18" = "dc m V"`, the words of each value;
  another value is no frame, or one that is refused where `unknown = "refused"`; where nobody has published what the
  values mean, `asked = ["count", "minus"]` in their place: the words that a person may tell, by the address option
  `told` (see `told.py`), and `question`, what to look at; until then frames are refused, and the question is asked
- `[bits]`: `"8.5" = "auto"`, the words of a bit that is set; `[bits_clear]`: of a bit that is clear
- `[[fixed]]`: `at`, `value`, `mask`: what is the same in every frame
- `[[unused]]`: `at`, `mask`: bits that are never set; a frame with one is refused
- `[[steady]]`: `at`, `value`, `mask`: bits that nobody has seen change; a frame in which they differ is refused

`taught = true` is written by `meterlog meters --teach`: what is refused, and digits that are not known, then count as
something that was never taught. `verified_on` says when it was compared with the meter's display.
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
_WORD = re.compile(r"point[0-6]|column[0-7]|e-(?:[1-9]|1[0-2])|e[0-6]|minus|overload|unscaled")
_BIT = re.compile(r"(\d+)\.([0-7])")
_WIRE = re.compile(r"(~?)(\d+)\.([0-7])")
_WIRED = ("wired", "wired-integer")
COUNT = "count"
"""A word that a person may tell: the amount of one count, for example 1mV."""


class Check(NamedTuple):
    """The frame's checksum: bytes `first` to `last` (from 0, exclusive) give the `size` bytes at `at`."""

    at: int
    size: int
    first: int
    last: int
    order: str
    of: Checksum


class Wire(NamedTuple):
    """One bit of a frame: its byte, its mask in there, and whether it is inverted."""

    at: int
    bit: int
    inverted: bool


class Number(NamedTuple):
    """The way digits are written in a frame.

    Attributes:
        wires: of digits in any wiring, the bits of each, the highest first; one row for a whole integer.
        codes: of wired digits, each one's own codes.
    """

    digits: str
    at: tuple[tuple[int, ...], ...]
    masks: tuple[int, ...]
    segments: dict[int, str]
    overload: tuple[str, ...]
    leading_blanks: bool
    signed: bool
    order: str
    decimals: int | None
    wires: tuple[tuple[Wire, ...], ...] = ()
    codes: tuple[dict[int, str], ...] = ()


class Map(NamedTuple):
    """Bytes (each with its mask) whose value says words.

    Attributes:
        asked: the words that a person may tell of a value that is not among `values`; `count` is an amount.
        question: what to look at on the display, to tell them.
    """

    at: tuple[int, ...]
    masks: tuple[int, ...]
    values: dict[bytes, frozenset[str]]
    unknown_refused: bool
    asked: tuple[str, ...] = ()
    question: str = ""


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
    offset: bytes
    parity: str
    check: Check | None
    number: Number
    maps: tuple[Map, ...]
    bits: dict[tuple[int, int], frozenset[str]]
    bits_clear: dict[tuple[int, int], frozenset[str]]
    fixed: tuple[Fixed, ...]
    unused: tuple[Fixed, ...]
    steady: tuple[Fixed, ...]
    taught: bool
    verified_on: str

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
    mask = _repeated(frame, "xor", length, len(start), len(end))
    offset = _repeated(frame, "offset", length, len(start), len(end))
    parity = frame.text("parity", "", ("", "odd", "even"))
    frame.finish()
    check = _check(profile.table("checksum"), length) if profile.has("checksum") else None
    fixed = tuple(_fixed(t, length) for t in profile.tables("fixed"))
    if not (start or end or gap_ms or check or fixed):
        raise profile.error("nothing tells where a frame begins: give start, end, gap_ms, a checksum or fixed bytes")
    maps = tuple(_map(t, length) for t in profile.tables("map"))
    if sum(bool(one.asked) for one in maps) > 1:
        raise profile.error("only one [[map]] can be asked")
    result = FrameProfile(
        about=profile.text("about", ""),
        lines=profile_lines(profile),
        length=length,
        start=start,
        end=end,
        gap_s=gap_ms / 1000,
        xor=mask,
        offset=offset,
        parity=parity,
        check=check,
        number=_number(profile.table("number"), length),
        maps=maps,
        bits=dict(_bits(profile.table("bits"), length)),
        bits_clear=dict(_bits(profile.table("bits_clear"), length)),
        fixed=fixed,
        unused=tuple(_unused(t, length) for t in profile.tables("unused")),
        steady=tuple(_fixed(t, length) for t in profile.tables("steady")),
        taught=profile.yes("taught", False),
        verified_on=profile.text("verified_on", ""),
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


def _repeated(frame: Table, name: str, length: int, start: int, end: int) -> bytes:
    """Read bytes that are repeated over a part of the frame; all between `start` and `end` where it names none."""
    key = _bytes(frame, name)
    first = _place(frame, f"{name}_from", length, start + 1)
    last = frame.integer(f"{name}_to", length - end, 1, length)
    if not key:
        return b""
    if first >= last:
        raise frame.error(f"{name}_from is greater than {name}_to", f"{name}_from")
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
    )
    table.finish()
    return result


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
        codes[int.from_bytes(_value(table, code), "big")] = glyph
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
            raise table.error(
                f"'{word}' is not a symbol; known are {known}, minus, overload, unscaled, point0-6, e-12 to e6,"
                " column0-7",
                key,
            )
    return frozenset(words)


def _map(table: Table, length: int) -> Map:
    at = _places(table, length)
    masks = _masks(table, len(at))
    if table.has("asked"):
        return _asked(table, at, masks)
    values = table.table("values")
    found = {_value(values, key): _words(values, key) for key in values.items()}
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
