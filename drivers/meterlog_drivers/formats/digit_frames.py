"""The format that digits11 and digits14 share: a range byte, digits, a function byte, nibbles of flags, CR LF.

Every data byte is 0x30-0x3F. The line is 7O1, and is opened as 8N1: its characters are as long, and bit 7 is then the
parity. LF arrives as 0x8A, and every byte's parity is checked here, which finds every single flipped bit. A port that
is set to 7O1 (`line=7O1`, or a serial server that is) delivers seven bits and checks nothing: serial drivers ignore
parity errors unless told not to. The two cannot be mixed up: a frame is seven-bit throughout or has odd parity
throughout.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from typing import NamedTuple

from meterlog.address import Address
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog_drivers.display.decimals import counts_at, display_counts, resolution_exponent
from meterlog_drivers.display.scale import Scale
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.unit_words import COUPLING
from meterlog_drivers.formats.fixed_frames import KNOWN_MODES

_ENDING = re.compile(rb"\r[\n\x8a]")
_ODD_PARITY = bytes(b & 0x7F if b.bit_count() % 2 else 0xFF for b in range(256))
"""A byte with its parity bit to its seven bits; 0xFF where the parity is even."""
_PAIRS = {Quantity.DC_VOLTAGE: Quantity.AC_VOLTAGE, Quantity.DC_CURRENT: Quantity.AC_CURRENT}


class Function(NamedTuple):
    """The meaning of a function byte.

    Attributes:
        quantity: what is measured; the DC one where AC is possible.
        exponents: the power of ten of one count, for each range byte from 0x30.
        judge: what the judge bit, when clear, makes of it; '' where it says nothing. `rpm` is not read.
        question: what a person must say before it is decoded, as sister chips differ; '' for nothing.
    """

    quantity: Quantity
    exponents: tuple[int, ...]
    judge: str = ""
    question: str = ""


class Layout(NamedTuple):
    """The layout of a chip's frame.

    Attributes:
        digits: how many digit bytes follow the range byte.
        functions: by function byte.
        flags: the name of each bit of the bytes between function and CR, bit 3 first; '' is a spare one. Names:
            `sign`, `overload`, `judge`, `apo` and those of `_FLAGS`; `ASKED` for one that sister chips use differently.
        ac_is_named: AC has a bit of its own; else AC is where DC is clear.
        most: the most counts that the display shows.
        asked: the question about bits named `ASKED`.
    """

    digits: int
    functions: Mapping[int, Function]
    flags: tuple[tuple[str, str, str, str], ...]
    ac_is_named: bool
    most: int
    asked: str = ""


ASKED = "asked"
"""The name of a flag's bit whose meaning a person must tell: a frame in which it is set is not read until then."""
_BITS = (8, 4, 2, 1)
_FLAGS = {
    "low-battery": Flag.LOW_BATTERY,
    "max": Flag.MAXIMUM,
    "min": Flag.MINIMUM,
    "relative": Flag.RELATIVE,
    "auto": Flag.AUTORANGE,
    "dc": Flag.DC,
    "ac": Flag.AC,
}


def most_counts(address: Address, default: int, digits: int) -> int:
    """The option `counts`: the most counts that the display shows.

    Raises:
        AddressError: it is no number that fits the digits.
    """
    return round(address.number("counts", default, least=10 ** (digits - 1), most=10**digits - 1))


class _Mode(NamedTuple):
    """All that a frame says beside its digits."""

    scale: Scale
    minus: bool
    overload: bool


class DigitFormat:
    """A frame format by its layout.

    Args:
        layout: where the chip puts things.
        spare_ignored: let spare bits pass when they are set.
    """

    ending: re.Pattern[bytes] | None = _ENDING
    unmarked = False

    def __init__(self, layout: Layout, spare_ignored: bool) -> None:
        self._layout = layout
        self._spare_ignored = spare_ignored
        self._function_at = 1 + layout.digits
        self.length = 1 + layout.digits + 1 + len(layout.flags) + 2
        self._structure = re.compile(rb"[0-?][0-9]{%d}[0-?]{%d}\r\n" % (layout.digits, 1 + len(layout.flags)))
        self._mode_of = lru_cache(KNOWN_MODES)(self._mode)

    def next_start(self, data: bytes, start: int) -> int:
        """See `FrameFormat`."""
        del data
        return start

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """See `FrameFormat`."""
        if frame[-1] == 0x8A:
            frame = frame.translate(_ODD_PARITY)
        if not self._structure.fullmatch(frame):
            return None
        mode = self._mode_of(frame[:1] + frame[self._function_at : -2])
        if mode is None:
            return ()
        if mode.overload:
            return mode.scale.overload(mode.minus)
        counts = int(frame[1 : self._function_at])
        return mode.scale.number(-counts if mode.minus else counts)

    def _mode(self, key: bytes) -> _Mode | None:
        """Look up a range byte, a function byte and the flag bytes; None where the table does not name them."""
        function = self._layout.functions.get(key[1])
        lit = {
            name
            for byte, names in zip(key[2:], self._layout.flags, strict=True)
            for bit, name in zip(_BITS, names, strict=True)
            if byte & bit
        }
        if function is None or function.question or key[0] - 0x30 >= len(function.exponents) or ASKED in lit:
            return None
        if "" in lit and not self._spare_ignored:
            return None
        quantity, exponent, fahrenheit = function.quantity, function.exponents[key[0] - 0x30], False
        if function.judge and "judge" not in lit and any("judge" in names for names in self._layout.flags):
            if function.judge == "rpm":
                return None
            if function.judge == "duty":
                quantity, exponent = Quantity.DUTY_CYCLE, -1
            fahrenheit = function.judge == "degF"
        if quantity in _PAIRS:
            ac = "ac" in lit if self._layout.ac_is_named else "dc" not in lit
            if ac == ("dc" in lit):
                return None
            quantity = _PAIRS[quantity] if ac else quantity
        elif "ac" in lit:
            return None
        flags = COUPLING.get(quantity, Flag.NONE)
        for name in lit & _FLAGS.keys():
            flags |= _FLAGS[name]
        scale = Scale.of(quantity, exponent, flags, fahrenheit=fahrenheit, most_counts=self._layout.most)
        return _Mode(scale, "sign" in lit, "overload" in lit)

    def question(self, frame: bytes) -> str:
        """See `AsksAPerson`."""
        if frame[-1] == 0x8A:
            frame = frame.translate(_ODD_PARITY)
        function = self._layout.functions.get(frame[self._function_at])
        if function is None or function.question:
            return function.question if function is not None else ""
        flags = zip(frame[self._function_at + 1 : -2], self._layout.flags, strict=True)
        asked = any(
            name == ASKED and byte & bit for byte, names in flags for bit, name in zip(_BITS, names, strict=True)
        )
        return self._layout.asked if asked else ""

    def build(self, reading: Reading) -> bytes:
        """See `FrameFormat`."""
        if reading.column:
            raise EncodeError("this display has one column")
        code, index, exponent, judge = self._choose(reading)
        lit = {name for name, flag in _FLAGS.items() if reading.flags & flag}
        lit |= {name for name, flag in _FLAGS.items() if COUPLING.get(reading.quantity, Flag.NONE) & flag}
        if {"ac", "dc"} <= lit:
            raise EncodeError(f"{reading.quantity} cannot be AC and DC")
        if not self._layout.ac_is_named:
            lit.discard("ac")
        counts = display_counts(reading, exponent, self._layout.digits)
        if reading.value < 0:
            lit.add("sign")
        if math.isinf(reading.value):
            lit.add("overload")
        if judge:
            lit.add("judge")
        names = {name for byte in self._layout.flags for name in byte}
        if not lit - {"judge"} <= names or reading.flags & Flag.HOLD:
            raise EncodeError(f"the frame has no bit for one of {', '.join(sorted(lit))} or hold")
        digits = b"%0*d" % (self._layout.digits, abs(counts))
        flags = bytes(
            0x30 + sum(bit for bit, name in zip(_BITS, byte, strict=True) if name in lit) for byte in self._layout.flags
        )
        return bytes([0x30 + index]) + digits + bytes([code]) + flags + b"\r\n"

    def _choose(self, reading: Reading) -> tuple[int, int, int, bool]:
        """The function byte, the range index, the power of ten of one count, and the judge bit."""
        has_judge = any("judge" in names for names in self._layout.flags)
        wanted = None if math.isnan(reading.resolution) else resolution_exponent(reading.resolution)
        found: list[tuple[int, int, int, int, bool]] = []
        for code, function in self._layout.functions.items():
            if function.question:
                continue
            same = reading.quantity in (function.quantity, _PAIRS.get(function.quantity))
            duty = function.judge == "duty" and reading.quantity is Quantity.DUTY_CYCLE and has_judge
            exponents = (-1,) if duty else function.exponents if same else ()
            for index, exponent in enumerate(exponents):
                room = math.isinf(reading.value) or abs(counts_at(reading.value, exponent)) <= self._layout.most
                if room and (wanted is None or wanted == exponent):
                    found.append((exponent, code, index, exponent, same and has_judge and bool(function.judge)))
        if not found:
            raise EncodeError(f"no range shows {reading.value:g} as {reading.quantity} at {reading.resolution:g}")
        return min(found)[1:]
