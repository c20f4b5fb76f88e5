"""chars16: sixteen characters with a unit code, eight digits and the number of decimals.

9600 baud 8N1; graded A (a maker's description of the frame):

| character | content |
|---|---|
| D15 | 0x02 |
| D14 | `4` |
| D13 | `1` upper display (column 0), `2` lower display (column 1) |
| D12 D11 | unit code, two characters: see `_UNITS` |
| D10 | polarity, `0` or `1` for minus |
| D9 | decimals, `0` to `3` counted from the right |
| D8 .. D1 | digits, the most significant first |
| D0 | 0x0D |

The table names no overload: a frame with anything but digits in D8..D1 is none.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache
from typing import NamedTuple

from meterlog.address import Address
from meterlog.errors import EncodeError
from meterlog.reading import Flag, Quantity, Reading
from meterlog.transports import LineSettings
from meterlog_drivers.display.decimals import display_counts, one_count, resolution_exponent, shown_value
from meterlog_drivers.display.possible_counts import plausible_counts
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.unit_words import COUPLING
from meterlog_drivers.formats.fixed_frames import KNOWN_MODES, FixedFrameDriver, FrameFormat


class _Unit(NamedTuple):
    quantity: Quantity
    exponent: int
    fahrenheit: bool = False


_UNITS = {
    b"18": _Unit(Quantity.DC_VOLTAGE, -3),
    b"34": _Unit(Quantity.DC_VOLTAGE, 0),
    b"35": _Unit(Quantity.DC_CURRENT, -6),
    b"36": _Unit(Quantity.DC_CURRENT, 0),
    b"37": _Unit(Quantity.DC_CURRENT, -3),
    b"49": _Unit(Quantity.AC_VOLTAGE, -3),
    b"50": _Unit(Quantity.AC_VOLTAGE, 0),
    b"51": _Unit(Quantity.AC_CURRENT, -6),
    b"52": _Unit(Quantity.AC_CURRENT, 0),
    b"53": _Unit(Quantity.AC_CURRENT, -3),
    b"38": _Unit(Quantity.RESISTANCE, 0),
    b"39": _Unit(Quantity.RESISTANCE, 3),
    b"40": _Unit(Quantity.RESISTANCE, 6),
    b"31": _Unit(Quantity.FREQUENCY, 0),
    b"33": _Unit(Quantity.FREQUENCY, 3),
    b"67": _Unit(Quantity.FREQUENCY, 6),
    b"43": _Unit(Quantity.CAPACITANCE, -9),
    b"44": _Unit(Quantity.CAPACITANCE, -6),
    b"A4": _Unit(Quantity.CAPACITANCE, -12),
    b"46": _Unit(Quantity.DIODE, 0),
    b"01": _Unit(Quantity.TEMPERATURE, 0),
    b"02": _Unit(Quantity.TEMPERATURE, 0, fahrenheit=True),
}
_STRUCTURE = re.compile(rb"\x024[12]..[01][0-3][0-9]{8}\r", re.DOTALL)
_DIGITS = 8


class _Scale(NamedTuple):
    quantity: Quantity
    exponent: int
    resolution: float
    flags: Flag
    column: int
    fahrenheit: bool
    least: float
    most: float


class Chars16Format:
    """See the module's table."""

    length = 16
    ending: re.Pattern[bytes] | None = None

    def __init__(self) -> None:
        self._scale_of = lru_cache(KNOWN_MODES)(self._scale)

    def next_start(self, data: bytes, start: int) -> int:
        """See `FrameFormat`."""
        found = data.find(b"\x024", start)
        return found if found >= 0 else max(start, len(data) - 1)

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """See `FrameFormat`."""
        if not _STRUCTURE.fullmatch(frame):
            return None
        scale = self._scale_of(frame[2:5], frame[6])
        if scale is None:
            return ()
        counts = int(frame[7:15])
        if frame[5] == 0x31:
            counts = -counts
        if not scale.least <= counts <= scale.most:
            return ()
        value = shown_value(counts, scale.exponent, scale.fahrenheit)
        return (Shown(value, scale.quantity, scale.resolution, scale.flags, scale.column),)

    def _scale(self, display_unit: bytes, decimals: int) -> _Scale | None:
        unit = _UNITS.get(display_unit[1:])
        if unit is None:
            return None
        exponent = unit.exponent - (decimals - 0x30)
        flags = COUPLING.get(unit.quantity, Flag.NONE)
        resolution = one_count(exponent, unit.fahrenheit)
        least, most = plausible_counts(unit.quantity, exponent, flags)
        column = display_unit[0] - 0x31
        return _Scale(unit.quantity, exponent, resolution, flags, column, unit.fahrenheit, least, most)

    def build(self, reading: Reading) -> bytes:
        """See `FrameFormat`."""
        if math.isinf(reading.value):
            raise EncodeError("chars16 has no way to show an overload")
        if reading.column > 1 or reading.flags & ~(Flag.AC | Flag.DC):
            raise EncodeError("chars16 shows two columns and no flags")
        choices = sorted(
            (unit.exponent - decimals, unit.exponent, code)
            for code, unit in _UNITS.items()
            if unit.quantity is reading.quantity and not unit.fahrenheit
            for decimals in range(4)
        )
        if math.isnan(reading.resolution):
            choices = [c for c in choices if abs(reading.value) < (10**_DIGITS - 1) * 10.0 ** c[0]]
        else:
            wanted = resolution_exponent(reading.resolution)
            choices = [c for c in choices if c[0] == wanted]
        if not choices:
            raise EncodeError(f"chars16 does not show {reading.quantity} with a resolution of {reading.resolution:g}")
        exponent, unit_exponent, code = choices[0]
        counts = display_counts(reading, exponent, _DIGITS)
        digits = b"%08d" % abs(counts)
        head = b"\x024%d%b%d%d" % (reading.column + 1, code, counts < 0, unit_exponent - exponent)
        return head + digits + b"\r"


class Chars16(FixedFrameDriver):
    """Meters that send sixteen characters with a unit code."""

    name = "chars16"
    summary = "16 characters: unit code, polarity, decimals, eight digits, CR"
    verification = "byte table from a maker's description; no hardware at hand"
    modes = (
        "V, mV DC/AC",
        "A, mA, uA DC/AC",
        "ohm to Mohm",
        "diode",
        "Hz to MHz",
        "pF to uF",
        "deg C, deg F",
        "two displays",
    )
    lines = (LineSettings(9600, 8, "N", 1),)

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        del address
        return Chars16Format()

    def one_column(self, address: Address) -> bool:
        """It has an upper and a lower display."""
        del address
        return False
