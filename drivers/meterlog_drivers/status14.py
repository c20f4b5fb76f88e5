r"""status14: fourteen bytes, a sign and digits in characters, the display's symbols as bits.

Frame (facts graded M: from memory, unverified against hardware), 2400 baud 8N1:

| byte | content |
|---|---|
| 1 | sign, `+` or `-` |
| 2-5 | four digit characters, or `?0:?` for overload |
| 6 | space |
| 7 | decimal point: `0` none, `1` x.xxx, `2` xx.xx, `4` xxx.x |
| 8 | bit 5 AUTO, 4 DC, 3 AC, 2 REL, 1 HOLD, 0 bar |
| 9 | bit 5 MAX, 4 MIN, 3 auto power off, 2 low battery, 1 n |
| 10 | bit 7 u, 6 m, 5 k, 4 M, 3 beep, 2 diode, 1 % |
| 11 | bit 7 V, 6 A, 5 ohm, 4 hFE, 3 Hz, 2 F, 1 deg C, 0 deg F |
| 12 | bar graph |
| 13-14 | CR, LF |

Bits without a name are refused when set, as a frame that no meter sends; where a meter of yours lights them for
symbols of its own, the option `spare=ignored` lets them pass.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import NamedTuple

from meterlog.address import Address
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import LineSettings
from meterlog_drivers.display.decimals import display_counts, one_count, shown_value
from meterlog_drivers.display.possible_counts import plausible_counts
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.symbols import PREFIXES, choose_prefix, mode_of, symbols_of
from meterlog_drivers.formats.fixed_frames import KNOWN_MODES, FixedFrameDriver, FrameFormat, spare_ignored

_BITS = (
    {0x20: "auto", 0x10: "dc", 0x08: "ac", 0x04: "relative", 0x02: "hold", 0x01: "bar"},
    {0x20: "maximum", 0x10: "minimum", 0x08: "auto-power-off", 0x04: "low-battery", 0x02: "n"},
    {0x80: "u", 0x40: "m", 0x20: "k", 0x10: "M", 0x08: "beep", 0x04: "diode", 0x02: "%"},
    {0x80: "V", 0x40: "A", 0x20: "ohm", 0x10: "hFE", 0x08: "Hz", 0x04: "F", 0x02: "degC", 0x01: "degF"},
)
_DECIMALS = {ord("0"): 0, ord("1"): 3, ord("2"): 2, ord("4"): 1}
_POINTS = {decimals: byte for byte, decimals in _DECIMALS.items()}
_OVERLOAD = b"?0:?"


class _Scale(NamedTuple):
    """What bytes 7-11 say: the quantity, the power of ten of one count, one count, the flags, the counts allowed."""

    quantity: Quantity
    exponent: int
    resolution: float
    flags: Flag
    fahrenheit: bool
    least: float
    most: float


class Status14Format:
    """See the module's table.

    Args:
        spare_ignored: let bits without a name pass.
    """

    length = 14
    ending: re.Pattern[bytes] | None = re.compile(b"\r\n")

    def __init__(self, spare_ignored: bool = False) -> None:
        self._spare_ignored = spare_ignored
        self._scale_of = lru_cache(KNOWN_MODES)(self._scale)

    def next_start(self, data: bytes, start: int) -> int:
        """See `FrameFormat`."""
        del data
        return start

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """See `FrameFormat`."""
        digits = frame[1:5]
        overload = digits == _OVERLOAD
        if (
            frame[12:] != b"\r\n"
            or frame[0] not in b"+-"
            or frame[5] != 0x20
            or frame[6] not in _DECIMALS
            or not (overload or digits.isdigit())
        ):
            return None
        key = frame[6:11]
        scale = self._scale_of(key)
        if scale is None:
            return ()
        if overload:
            value = -math.inf if frame[0] == 0x2D else math.inf
            return (Shown(value, scale.quantity, scale.resolution, scale.flags | Flag.OVERLOAD),)
        counts = int(frame[:5])
        if not scale.least <= counts <= scale.most:
            return ()
        value = shown_value(counts, scale.exponent, scale.fahrenheit)
        return (Shown(value, scale.quantity, scale.resolution, scale.flags),)

    def _scale(self, key: bytes) -> _Scale | None:
        lit: set[str] = set()
        for byte, names in zip(key[1:], _BITS, strict=True):
            if byte & ~sum(names) and not self._spare_ignored:
                return None
            lit.update(name for bit, name in names.items() if byte & bit)
        mode = mode_of(lit)
        if mode is None:
            return None
        exponent = mode.exponent - _DECIMALS[key[0]]
        least, most = plausible_counts(mode.quantity, exponent, mode.flags)
        resolution = one_count(exponent, mode.fahrenheit)
        return _Scale(mode.quantity, exponent, resolution, mode.flags, mode.fahrenheit, least, most)

    def build(self, reading: Reading) -> bytes:
        """See `FrameFormat`."""
        exponent, prefix = choose_prefix(reading, most_decimals=3, digits=4)
        decimals = PREFIXES[prefix] - exponent
        lit = symbols_of(reading, prefix) | {"bar"}
        status = bytes(sum(bit for bit, name in names.items() if name in lit) for names in _BITS)
        counts = display_counts(reading, exponent, 4)
        digits = _OVERLOAD if math.isinf(reading.value) else b"%04d" % abs(counts)
        sign = b"-" if counts < 0 or reading.value == -math.inf else b"+"
        bar = min(60, abs(counts) * 60 // 6000)
        return sign + digits + b" " + bytes([_POINTS[decimals]]) + status + bytes([bar]) + b"\r\n"


class Status14(FixedFrameDriver):
    """Meters that send a sign, four digit characters and four bytes of symbols."""

    name = "status14"
    summary = "14 bytes: sign, digit characters, symbol bits, CR LF"
    verification = "unverified against hardware (byte table from memory); round trip and flipped bits tested"
    modes = (
        "V, mV DC/AC",
        "A, mA, uA DC/AC",
        "ohm to Mohm",
        "continuity",
        "diode",
        "Hz to MHz",
        "duty cycle",
        "nF to mF",
        "deg C, deg F",
        "hold, relative, auto, min/max, low battery, overload",
    )
    options = frozenset({"spare"})
    lines = (LineSettings(2400, 8, "N", 1),)

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        return Status14Format(spare_ignored(address))
