"""digits11: eleven bytes, a range, four digits, a function and flags, for displays of 4000 counts.

2400 or 19230 baud, 7O1 (opened as 8N1: see `formats/digit_frames.py`). Frame: range, digit 3 .. digit 0, function,
status, option 1, option 2, CR, LF. Data bytes are 0x30-0x3F. Frame, status, options and the ranges of V, ohm, mA and F
are graded A; the function codes and the ranges of uA, A, Hz, continuity, diode and temperature are M: from memory,
unverified against hardware.

| byte | content |
|---|---|
| status, `sign-first` | sign, low battery, -, overload (bits 3..0) |
| status, `judge-first` | judge, sign, low battery, overload: the sister chip |
| option 1 | nothing |
| option 2 | DC, AUTO, -, auto power off; AC where DC is 0 |

The two chips cannot be told apart by their frames: the address says `status=judge-first` for the sister. A frame of
more than 4000 counts is refused; `counts=6000` is for a display that shows more. Some meters send each frame twice:
`blocks=twice` takes only what came twice alike.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.driver.framing import Decoder, Encoder
from meterlog.reading import Quantity
from meterlog.transports import LineSettings
from meterlog_drivers.formats.digit_frames import DigitFormat, Function, Layout, most_counts
from meterlog_drivers.formats.fixed_frames import (
    HAND_HELD_MODES,
    FixedFrameDriver,
    FixedFrameEncoder,
    FrameFormat,
    TwiceDecoder,
    spare_ignored,
)

_FUNCTIONS = {
    0x3B: Function(Quantity.DC_VOLTAGE, (-4, -3, -2, -1, 0)),  # 400.0 mV, 4.000, 40.00, 400.0, 4000 V
    0x3D: Function(Quantity.DC_CURRENT, (-7, -6)),  # 400.0, 4000 uA
    0x3F: Function(Quantity.DC_CURRENT, (-5, -4)),  # 40.00, 400.0 mA
    0x30: Function(Quantity.DC_CURRENT, (-2,)),  # 40.00 A
    0x33: Function(Quantity.RESISTANCE, (-1, 0, 1, 2, 3, 4)),  # 400.0 ohm, 4.000 k .. 40.00 M
    0x35: Function(Quantity.CONTINUITY, (-1,)),  # 400.0 ohm
    0x31: Function(Quantity.DIODE, (-3,)),  # 4.000 V
    0x32: Function(Quantity.FREQUENCY, (0, 1, 2, 3, 4, 5)),  # 4.000 kHz .. 400.0 MHz
    0x36: Function(Quantity.CAPACITANCE, (-12, -11, -10, -9, -8, -7, -6, -5)),  # 4.000 nF .. 40.00 mF
    0x34: Function(Quantity.TEMPERATURE, (0,)),  # whole degrees C
}
_OPTIONS = (("", "", "", ""), ("dc", "auto", "", "apo"))
_STATUS = {
    "sign-first": ("sign", "low-battery", "", "overload"),
    "judge-first": ("judge", "sign", "low-battery", "overload"),
}


class Digits11(FixedFrameDriver):
    """Meters that send a range, four digits and a function in eleven bytes."""

    name = "digits11"
    summary = "11 bytes: range, four digits, function, flags, CR LF"
    verification = (
        "frame and status from a datasheet; function codes and some ranges unverified against hardware (from memory)"
    )
    modes = (
        *HAND_HELD_MODES,
        "kHz, MHz",
        "nF to mF",
        "deg C",
        "auto, low battery, overload",
    )
    options = frozenset({"status", "spare", "counts", "blocks"})
    lines = (LineSettings(2400), LineSettings(19230))
    variants = ("", "status=judge-first")

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        status = _STATUS[address.choice("status", tuple(_STATUS), "sign-first")]
        most = most_counts(address, 4000, digits=4)
        return DigitFormat(Layout(4, _FUNCTIONS, (status, *_OPTIONS), False, most), spare_ignored(address))

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """See `FramingDriver.decoder`."""
        if address.choice("blocks", ("once", "twice"), "once") == "twice":
            return TwiceDecoder(self.frame_format(address), byte_time_s)
        return super().decoder(address, byte_time_s)

    def encoder(self, address: Address) -> Encoder:
        """See `FramingDriver.encoder`."""
        return FixedFrameEncoder(self.frame_format(address), 2 if address.options.get("blocks") == "twice" else 1)

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        status = address.choice("status", tuple(_STATUS), "sign-first")
        other = next(s for s in _STATUS if s != status)
        return (f"status byte taken as {status}; a sister chip has it {other} (status={other})",)
