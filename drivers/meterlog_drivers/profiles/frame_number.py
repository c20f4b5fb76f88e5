"""The digits of a frame as a frames profile describes them, to counts and back."""

from __future__ import annotations

import math
import re

from meterlog_drivers.profiles.frame_parts import INTEGERS, Number, Wire

_KNOWN_NUMBERS = 16_384
"""Numbers that are remembered: more than a display of 4000 counts has with both signs."""
_DIGITS = re.compile(r" *[0-9]+")


class ProfiledNumber:
    """Finds the digits in a frame held as one big integer, first byte highest.

    Attributes:
        mask: the bits of the frame that are digits.
        signed: an integer that can be negative by itself.
    """

    def __init__(self, number: Number, length: int) -> None:
        self._number = number
        self._length = length
        mask = bytearray(length)
        for row in number.at:
            for at, one in zip(row, self._masks(row), strict=True):
                mask[at] |= one
        for wire in (wire for row in number.wires for wire in row):
            mask[wire.at] |= wire.bit
        self.mask = int.from_bytes(mask, "big")
        self.signed = number.digits in INTEGERS and number.signed
        self._known: dict[int, float | None] = {}
        self._codes = {glyph: code for code, glyph in number.segments.items()}

    def counts(self, frame: int) -> float | None:
        """The counts as a whole number, infinity where the digits say overload, None where they are no digits."""
        digits = frame & self.mask
        if digits not in self._known:
            if len(self._known) >= _KNOWN_NUMBERS:
                self._known.clear()
            self._known[digits] = self._counts(self.text(frame.to_bytes(self._length, "big")))
        return self._known[digits]

    def _counts(self, text: str) -> float | None:
        if text in self._number.overload:
            return math.inf
        if self._number.digits in INTEGERS:
            return int(text) if self._within(int(text)) else None
        if not _DIGITS.fullmatch(text) or (text[0] == " " and not self._number.leading_blanks):
            return None
        return int(text)

    def _within(self, counts: int) -> bool:
        return self._number.most is None or abs(counts) <= self._number.most

    def text(self, frame: bytes) -> str:
        """The digits of an unmasked frame as characters; `?` stands for what is none."""
        number = self._number
        if number.digits == "wired-integer":
            code, bits = gathered(frame, number.wires[0]), len(number.wires[0])
            return str(code - (1 << bits) if number.signed and code >> (bits - 1) else code)
        if number.digits == "integer":
            data = bytes(frame[row[0]] for row in number.at)
            return str(int.from_bytes(data, "big" if number.order == "big" else "little", signed=number.signed))
        return "".join(self.glyph(frame, place) for place in range(len(number.at or number.wires)))

    def glyph(self, frame: bytes, place: int) -> str:
        """The character, two for a BCD byte, of one digit place of an unmasked frame."""
        if self._number.wires:
            return self._number.codes[place].get(gathered(frame, self._number.wires[place]), "?")
        row = self._number.at[place]
        code = 0
        for at, mask in zip(row, self._masks(row), strict=True):
            code = code << mask.bit_count() | (frame[at] & mask) // (mask & -mask)
        if self._number.digits == "ascii":
            return chr(code) if 0x20 <= code < 0x7F else "\0"
        if self._number.digits == "seven-segment":
            return self._number.segments.get(code, "?")
        digits = (code >> 4, code & 15) if self._number.digits == "bcd" else (code,)
        return "".join(str(d) if d <= 9 else "?" for d in digits)

    def put(self, frame: bytearray, counts: int | None, value: float) -> bool:
        """Write digits into an unmasked frame: `counts`, or the overload that `value` is. False: no way to say it."""
        number = self._number
        if number.digits in INTEGERS:
            return self._put_integer(frame, counts)
        width = len(number.at or number.wires) * (2 if number.digits == "bcd" else 1)
        if counts is None:
            text = number.overload[0] if number.overload else "0" * width
        else:
            text = f"{abs(counts):0{width}d}"
        if len(text) != width or math.isnan(value):
            return False
        for place, wires in enumerate(number.wires):
            found = [code for code, glyph in number.codes[place].items() if glyph == text[place]]
            if not found:
                return False
            scatter(frame, wires, found[0])
        for place, row in enumerate(number.at):
            if number.digits == "ascii":
                code = ord(text[place])
            elif number.digits == "seven-segment":
                code = self._codes.get(text[place], -1)
            elif number.digits == "bcd":
                code = int(text[2 * place : 2 * place + 2], 16)
            else:
                code = int(text[place], 16)
            if code < 0:
                return False
            for at, mask in reversed(list(zip(row, self._masks(row), strict=True))):
                low = mask & -mask
                frame[at] = frame[at] & ~mask | (code & (mask // low)) * low
                code >>= mask.bit_count()
        return True

    def _put_integer(self, frame: bytearray, counts: int | None) -> bool:
        number = self._number
        if counts is None:
            counts = int(number.overload[0]) if number.overload else 0
        elif not self._within(counts):
            return False
        elif not number.signed:
            counts = abs(counts)
        if number.wires:
            bits = len(number.wires[0])
            least, most = (-(1 << bits - 1), 1 << bits - 1) if number.signed else (0, 1 << bits)
            if least <= counts < most:
                scatter(frame, number.wires[0], counts)
            return least <= counts < most
        try:
            data = counts.to_bytes(len(number.at), "big" if number.order == "big" else "little", signed=number.signed)
        except OverflowError:
            return False
        for row, byte in zip(number.at, data, strict=True):
            frame[row[0]] = byte
        return True

    def _masks(self, row: tuple[int, ...]) -> tuple[int, ...]:
        if self._number.digits == "nibble" and len(row) == 1:
            return (0x0F,)
        return self._number.masks


def gathered(frame: bytes, wires: tuple[Wire, ...]) -> int:
    """Put the bits of a frame that are named together, the first highest."""
    code = 0
    for at, bit, inverted in wires:
        code = code << 1 | (bool(frame[at] & bit) != inverted)
    return code


def scatter(frame: bytearray, wires: tuple[Wire, ...], code: int) -> None:
    """Put a code's bits where `gathered` finds them."""
    for at, bit, inverted in reversed(wires):
        frame[at] = frame[at] | bit if bool(code & 1) != inverted else frame[at] & ~bit
        code >>= 1
