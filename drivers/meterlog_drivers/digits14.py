"""digits14: fourteen bytes, a range, five digits, a function and flags, for displays of 22000 counts.

19230 baud, 7O1 (opened as 8N1: see `formats/digit_frames.py`). Frame: range, digit 4 .. digit 0, function, status,
option 1 .. option 4, CR, LF. Data bytes are 0x30-0x3F. All of it graded M: from memory, unverified against hardware.

| byte | bits 3..0 |
|---|---|
| status | judge, sign, low battery, overload |
| option 1 | maximum, minimum, relative, - |
| option 2, 4 | nothing |
| option 3 | DC, AC, AUTO, auto power off |

Functions: 0x3B V, 0x3D uA, 0x3F mA, 0x30 A, 0x33 ohm, 0x35 continuity, 0x31 diode, 0x32 Hz, 0x36 F, 0x34 temperature.
The judge bit, when clear, makes of Hz the duty cycle and of deg C deg F. A frame of more than 22000 counts is refused;
`counts=60000` is for a display that shows more.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.reading import Quantity
from meterlog.transports import LineSettings
from meterlog_drivers.formats.digit_frames import DigitFormat, Function, Layout, most_counts
from meterlog_drivers.formats.fixed_frames import COUNTED_MODES, FixedFrameDriver, FrameFormat, spare_ignored

_FUNCTIONS = {
    0x3B: Function(Quantity.DC_VOLTAGE, (-4, -3, -2, -1, -5)),  # 2.2000, 22.000, 220.00, 2200.0 V, 220.00 mV
    0x3D: Function(Quantity.DC_CURRENT, (-8, -7)),  # 220.00, 2200.0 uA
    0x3F: Function(Quantity.DC_CURRENT, (-6, -5)),  # 22.000, 220.00 mA
    0x30: Function(Quantity.DC_CURRENT, (-3,)),  # 22.000 A
    0x33: Function(Quantity.RESISTANCE, (-2, -1, 0, 1, 2, 3, 4)),  # 220.00 ohm, 2.2000 k .. 220.00 M
    0x35: Function(Quantity.CONTINUITY, (-2,)),  # 220.00 ohm
    0x31: Function(Quantity.DIODE, (-4,)),  # 2.2000 V
    0x32: Function(Quantity.FREQUENCY, (-3, -2, -1, 0, 1, 2, 3, 4), "duty"),  # 22.000 Hz .. 220.00 MHz
    0x36: Function(Quantity.CAPACITANCE, (-12, -11, -10, -9, -8, -7, -6, -5)),  # 22.000 nF .. 220.00 mF
    0x34: Function(Quantity.TEMPERATURE, (-1,), "degF"),  # tenths of a degree
}
_FLAGS = (
    ("judge", "sign", "low-battery", "overload"),
    ("max", "min", "relative", ""),
    ("", "", "", ""),
    ("dc", "ac", "auto", "apo"),
    ("", "", "", ""),
)


class Digits14(FixedFrameDriver):
    """Meters that send a range, five digits and a function in fourteen bytes."""

    name = "digits14"
    summary = "14 bytes: range, five digits, function, flags, CR LF"
    verification = "unverified against hardware (byte table from memory); round trip and flipped bits tested"
    modes = (
        *COUNTED_MODES,
        "deg C, deg F",
        "relative, auto, min/max, low battery, overload",
    )
    options = frozenset({"spare", "counts"})
    lines = (LineSettings(19230),)

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        most = most_counts(address, 22000, digits=5)
        return DigitFormat(Layout(5, _FUNCTIONS, _FLAGS, True, most), spare_ignored(address))

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        del address
        return ("a clear judge bit turns Hz into duty cycle and deg C into deg F",)
