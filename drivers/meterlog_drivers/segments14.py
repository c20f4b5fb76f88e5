"""segments14: fourteen bytes, each with its position and four segments or symbols of the display.

High nibble: position 1..14. Low nibble (line settings and byte 1 graded A, the rest M: from memory, unverified
against hardware), 2400 baud 8N1, DTR on, RTS off:

| byte | bit 3 | bit 2 | bit 1 | bit 0 |
|---|---|---|---|---|
| 1 | AC | DC | AUTO | RS232 |
| 2 3 | minus (byte 2) | seven segments of digit 1: low three bits of byte 2, four of byte 3 | | |
| 4 5 | decimal point before digit 2 (byte 4) | digit 2 | | |
| 6 7 | decimal point before digit 3 (byte 6) | digit 3 | | |
| 8 9 | decimal point before digit 4 (byte 8) | digit 4 | | |
| 10 | u | n | k | diode |
| 11 | m | % | M | beep |
| 12 | F | ohm | REL | HOLD |
| 13 | A | V | Hz | low battery |
| 14 | user symbols | user | user | deg C |

Segments: 7D=0 05=1 5B=2 1F=3 27=4 3E=5 7E=6 15=7 7F=8 3F=9 00=blank 68=L; any other is no frame. Overload is `0L`
between blanks. Blanks stand only before the first digit. The user symbols may be anything.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

from meterlog.address import Address
from meterlog.errors import EncodeError
from meterlog.reading import Reading
from meterlog.text.units import PREFIXES
from meterlog.transports import LineSettings
from meterlog_drivers.display.decimals import display_counts
from meterlog_drivers.display.scale import Scale
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.symbols import choose_prefix, mode_of, symbols_of
from meterlog_drivers.formats.fixed_frames import COUNTED_MODES, KNOWN_MODES, FixedFrameDriver, FrameFormat

_BITS = {
    0: ("rs232", "auto", "dc", "ac"),
    9: ("diode", "k", "n", "u"),
    10: ("beep", "M", "%", "m"),
    11: ("hold", "relative", "ohm", "F"),
    12: ("low-battery", "Hz", "V", "A"),
    13: ("degC", "", "", ""),
}
"""The symbols of each byte, from bit 0."""
_SEGMENTS = {
    0x7D: 0,
    0x05: 1,
    0x5B: 2,
    0x1F: 3,
    0x27: 4,
    0x3E: 5,
    0x7E: 6,
    0x15: 7,
    0x7F: 8,
    0x3F: 9,
    0x00: " ",
    0x68: "L",
}
_GLYPHS = {str(glyph): segments for segments, glyph in _SEGMENTS.items()}
_PAIRS = {bytes([s >> 4 | mark << 3, s & 15]): (str(g), mark) for s, g in _SEGMENTS.items() for mark in (0, 1)}
"""Two low nibbles to the glyph and whether the mark (minus or decimal point) before it is lit."""
_POSITIONS = bytes(range(1, 15))
_HIGH = bytes(b >> 4 for b in range(256))
_LOW = bytes(b & 15 for b in range(256))
_FIRST = re.compile(rb"[\x10-\x1f]")
_DECIMALS = {(0, 0, 0): 0, (1, 0, 0): 3, (0, 1, 0): 2, (0, 0, 1): 1}
_OVERLOAD = re.compile(r" *0L *")
_NUMBER = re.compile(r" *[0-9]+")


class Segments14Format:
    """See the module's table."""

    length = 14
    ending: re.Pattern[bytes] | None = None
    unmarked = False

    def __init__(self) -> None:
        self._scale_of = lru_cache(KNOWN_MODES)(self._scale)

    def next_start(self, data: bytes, start: int) -> int:
        """See `FrameFormat`."""
        found = _FIRST.search(data, start)
        return found.start() if found else len(data)

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """See `FrameFormat`."""
        if frame.translate(_HIGH) != _POSITIONS:
            return None
        low = frame.translate(_LOW)
        try:
            a, minus = _PAIRS[low[1:3]]
            b, point2 = _PAIRS[low[3:5]]
            c, point3 = _PAIRS[low[5:7]]
            d, point4 = _PAIRS[low[7:9]]
            decimals = _DECIMALS[point2, point3, point4]
        except KeyError:
            return None
        glyphs = a + b + c + d
        key = bytes([decimals, low[0]]) + low[9:]
        scale = self._scale_of(key)
        if scale is None:
            return ()
        if _NUMBER.fullmatch(glyphs):
            return scale.number(-int(glyphs) if minus else int(glyphs))
        return scale.overload(bool(minus)) if _OVERLOAD.fullmatch(glyphs) else ()

    def _scale(self, key: bytes) -> Scale | None:
        decimals, *nibbles = key
        lit = {
            symbol
            for nibble, symbols in zip(nibbles, _BITS.values(), strict=True)
            for bit, symbol in enumerate(symbols)
            if nibble >> bit & 1
        }
        mode = mode_of(lit)
        return None if mode is None else Scale.of(mode.quantity, mode.exponent - decimals, mode.flags)

    def build(self, reading: Reading) -> bytes:
        """See `FrameFormat`."""
        exponent, prefix = choose_prefix(reading, most_decimals=3, digits=4)
        lit = symbols_of(reading, prefix) | {"rs232"}
        if not lit <= {symbol for symbols in _BITS.values() for symbol in symbols}:
            raise EncodeError(f"segments14 has no symbol for one of {', '.join(sorted(lit))}")
        counts = display_counts(reading, exponent, 4)
        glyphs = " 0L " if math.isinf(reading.value) else f"{abs(counts):04d}"
        minus = counts < 0 or reading.value == -math.inf
        point = 4 - (PREFIXES[prefix] - exponent)  # the digit, from 0, that has the decimal point before it
        low = [0] * 14
        for digit, glyph in enumerate(glyphs):
            mark = minus if digit == 0 else digit == point
            low[1 + 2 * digit] = _GLYPHS[glyph] >> 4 | mark << 3
            low[2 + 2 * digit] = _GLYPHS[glyph] & 15
        for byte, symbols in _BITS.items():
            low[byte] = sum(1 << bit for bit, symbol in enumerate(symbols) if symbol in lit)
        return bytes(position << 4 | nibble for position, nibble in zip(_POSITIONS, low, strict=True))


class Segments14(FixedFrameDriver):
    """Meters that send the segments of their display, four at a time."""

    name = "segments14"
    summary = "14 bytes: position and four display segments each"
    verification = "line settings and first byte from a datasheet; the rest unverified against hardware (from memory)"
    modes = (
        *COUNTED_MODES,
        "deg C",
        "hold, relative, auto, low battery, overload",
    )
    lines = (LineSettings(2400, 8, "N", 1, dtr=True, rts=False),)

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        del address
        return Segments14Format()
