"""digits11: eleven bytes, a range, four digits, a function and flags, for displays of 4000 counts.

2400 or 19230 baud, 7O1 (opened as 8N1: see `formats/digit_frames.py`). Frame: range, digit 3 .. digit 0, function,
status, option 1, option 2, CR, LF. Data bytes are 0x30-0x3F; an overload sends the digits 4000. Frame, status,
options, function codes and the ranges of V, ohm, mA, Hz and F are graded A (a datasheet, a meter maker's user guide);
temperature, the codes of `amperes=0x30` and the decimals of uA, A, continuity and diode are M: from memory, unverified
against hardware.

| byte | content |
|---|---|
| status, `sign-first` | sign, low battery, -, overload (bits 3..0) |
| status, `judge-first` | judge, sign, low battery, overload: the sister chip |
| option 1 | nothing |
| option 2 | DC, AUTO, -, auto power off; AC where DC is 0 |

The chips cannot be told apart by their frames, and the same function byte means other things on them:

| byte | the guide: `amperes=0x3F` | from memory: `amperes=0x30` | not told |
|---|---|---|---|
| 0x39 | mA | - | mA |
| 0x3F | A | mA | asked: 50 mA must not be shown where 5 A flow |
| 0x30 | - | A | asked: a sister has an adapter's input there |
| 0x32 | Hz, with `judge-first`; RPM where judge is clear | Hz, with `sign-first` | `status` not told: asked |

Minus on one chip is low battery on its sister, so a frame with either is asked about too until `status` is told.
The guide's status is `judge-first`, so `amperes=0x3F` implies it. RPM is no quantity of ours: its frames are refused.
A sister with adapter inputs (graded C) has 0x3B for diode, 0x3A for Hz, and inputs where diode, ohm, continuity and mA
are here; its ranges and the rest of its codes are not known, and nothing in its frames tells it from the others. So
`meters` says what was assumed, and `--check` finds it.
What is asked gives no reading until the address says it. A frame of more than 4000 counts is refused; `counts=6000` is
for a display that shows more. Some meters send each frame twice: `blocks=twice` takes only what came twice alike.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.driver.framing import Decoder, Encoder
from meterlog.reading import Quantity
from meterlog.transports import LineSettings
from meterlog_drivers.formats.digit_frames import ASKED, DigitFormat, Function, Layout, most_counts
from meterlog_drivers.formats.fixed_frames import (
    HAND_HELD_MODES,
    FixedFrameDriver,
    FixedFrameEncoder,
    FrameFormat,
    TwiceDecoder,
    spare_ignored,
)

_MILLIAMPERES = Function(Quantity.DC_CURRENT, (-5, -4))  # 40.00, 400.0 mA
_AMPERES = Function(Quantity.DC_CURRENT, (-2,))  # 40.00 A
_CURRENTS = {
    "0x3F": {0x39: _MILLIAMPERES, 0x3F: _AMPERES},
    "0x30": {0x3F: _MILLIAMPERES, 0x30: _AMPERES},
    "": {
        0x39: _MILLIAMPERES,
        0x3F: _AMPERES._replace(
            question="A or mA? Where the display shows A add amperes=0x3F to the address, where mA amperes=0x30"
        ),
        0x30: _AMPERES._replace(
            question="A or an adapter's input? Only where the display shows A add amperes=0x30 to the address"
        ),
    },
}
"""The functions whose byte differs between chips, by the option `amperes`: the byte of the large current jack."""
_FREQUENCY = Function(Quantity.FREQUENCY, (0, 1, 2, 3, 4, 5))  # 4.000 kHz .. 400.0 MHz
_FREQUENCIES = {
    "sign-first": _FREQUENCY,
    "judge-first": _FREQUENCY._replace(judge="rpm"),
    "": _FREQUENCY._replace(
        question="Hz or RPM? Where minus and low battery of the display agree with status=judge-first add that to the"
        " address, which tells Hz from RPM by a bit; else status=sign-first, and never read RPM with it"
    ),
}
_FUNCTIONS = {
    0x3B: Function(Quantity.DC_VOLTAGE, (-4, -3, -2, -1, 0)),  # 400.0 mV, 4.000, 40.00, 400.0, 4000 V
    0x3D: Function(Quantity.DC_CURRENT, (-7, -6)),  # 400.0, 4000 uA
    0x33: Function(Quantity.RESISTANCE, (-1, 0, 1, 2, 3, 4)),  # 400.0 ohm, 4.000 k .. 40.00 M
    0x35: Function(Quantity.CONTINUITY, (-1,)),  # 400.0 ohm
    0x31: Function(Quantity.DIODE, (-3,)),  # 4.000 V
    0x36: Function(Quantity.CAPACITANCE, (-12, -11, -10, -9, -8, -7, -6, -5)),  # 4.000 nF .. 40.00 mF
    0x34: Function(Quantity.TEMPERATURE, (0,)),  # whole degrees C
}
_OPTIONS = (("", "", "", ""), ("dc", "auto", "", "apo"))
_UNTOLD = (ASKED, ASKED, ASKED, "overload")
"""The status bits as long as nobody says whose they are: minus on one chip is low battery on its sister."""
_STATUS_QUESTION = (
    "minus or low battery? Swap the leads so that the display shows a minus: where it agrees with status=sign-first add"
    " that to the address, else status=judge-first"
)
_STATUS = {
    "sign-first": ("sign", "low-battery", "", "overload"),
    "judge-first": ("judge", "sign", "low-battery", "overload"),
}


class Digits11(FixedFrameDriver):
    """Meters that send a range, four digits and a function in eleven bytes."""

    name = "digits11"
    summary = "11 bytes: range, four digits, function, flags, CR LF"
    verification = (
        "frame, status, functions from makers' documents; some ranges, the sister chip's functions unverified against"
        " hardware"
    )
    modes = (
        *HAND_HELD_MODES,
        "kHz, MHz",
        "nF to mF",
        "deg C",
        "auto, low battery, overload",
    )
    options = frozenset({"amperes", "status", "spare", "counts", "blocks"})
    lines = (LineSettings(2400), LineSettings(19230))
    emulated = "status=sign-first&amperes=0x30"

    def frame_format(self, address: Address) -> FrameFormat:
        """See `FixedFrameDriver`."""
        return self._format(address, _status(address), encoding=False)

    def _format(self, address: Address, told: str, *, encoding: bool) -> FrameFormat:
        """Return the frame format of a chip; one whose status is not told sends as `sign-first`, and is asked about."""
        currents = _CURRENTS[_amperes(address)]
        functions = {**_FUNCTIONS, **currents, 0x32: _FREQUENCIES[told]}
        most = most_counts(address, 4000, digits=4)
        status = _STATUS[told or "sign-first"] if told or encoding else _UNTOLD
        layout = Layout(4, functions, (status, *_OPTIONS), False, most, _STATUS_QUESTION)
        return DigitFormat(layout, spare_ignored(address))

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """See `FramingDriver.decoder`."""
        if address.choice("blocks", ("once", "twice"), "once") == "twice":
            return TwiceDecoder(self.frame_format(address), byte_time_s)
        return super().decoder(address, byte_time_s)

    def encoder(self, address: Address) -> Encoder:
        """See `FramingDriver.encoder`."""
        sent = self._format(address, _status(address), encoding=True)
        return FixedFrameEncoder(sent, 2 if address.options.get("blocks") == "twice" else 1)

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        status = _status(address)
        other = next(s for s in _STATUS if s != status)
        return (
            f"status byte taken as {status}; a sister chip has it {other} (status={other})"
            if status
            else "minus and low battery give no reading until status= says which bit is which",
            {
                "": "function 0x39 taken as mA; 0x3F and 0x30 give no reading until amperes= says which is A",
                "0x3F": "function 0x39 taken as mA and 0x3F as A; a sister chip has 0x3F for mA (amperes=0x30)",
                "0x30": "function 0x3F taken as mA and 0x30 as A; a sister chip has 0x3F for A (amperes=0x3F)",
            }[_amperes(address)],
            "0x3B taken as volts; a sister chip with adapter inputs has its diode test there, and inputs as ohm and mA",
            "frames of five digits (five11) look alike: compare with the display",
        )


def _status(address: Address) -> str:
    """The option `status`, which the guide's functions imply; '' where it is not told.

    Raises:
        AddressError: it is neither order.
    """
    implied = "judge-first" if _amperes(address) == "0x3F" else ""
    return address.choice("status", tuple(_STATUS), "") if "status" in address.options else implied


def _amperes(address: Address) -> str:
    """The option `amperes`: the function byte of A; '' where it is not told.

    Raises:
        AddressError: it is no byte that A is known to have.
    """
    return address.choice("amperes", ("0x3F", "0x30"), "0x3F") if "amperes" in address.options else ""
