"""five11: eleven bytes, five digits first, then a code, a function and two states; the line rate is found by listening.

The byte table is the profile `profiles/five11-frames.toml`: an interface maker's sheet gives the digits and the
function codes (graded A), not what the code in byte 6 and the states say, nor the line rate. So a frame gives no
reading until a person has told what one count of the display is with these bytes, and which sign, DC or AC it shows:
`told=1100:1mV,1140:1mV minus`. Frames of `digits11` have the same look, and the bytes cannot tell them apart: where
both may be, `digits11` is tried, and its readings have to be compared with the display.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.transports import LineSettings
from meterlog_drivers.formats.fixed_frames import HAND_HELD_MODES
from meterlog_drivers.profiles.profiled_driver import ProfiledDriver

_RANGES = {
    "1": ("0.1mV", "1mV", "10mV", "0.1V"),
    "8": ("1uA dc", "10uA dc"),
    "9": ("1mA dc", "10mA dc"),
    "4": ("0.01ohm", "0.1ohm", "1ohm", "10ohm", "100ohm", "1kohm"),
}
"""Says what one count is, by function and code, in the frames that the emulator sends: made up, as are its states."""
_STATES = {"00": "", "40": " minus", "80": " overload"}


def _made_up() -> str:
    told = [
        f"{code}{function}{state}:{count}{word}"
        for function, counts in _RANGES.items()
        for code, count in enumerate(counts)
        for state, word in _STATES.items()
    ]
    return f"told={','.join(told)}".replace(" ", "+")


class Five11(ProfiledDriver):
    """Meters that send five digits and a function in eleven bytes."""

    name = "five11"
    profile = "five11-frames"
    summary = "11 bytes: five digits, code, function, two states, CR LF; asks what they mean"
    verification = "digits, functions from a maker's sheet, the rest is asked; unverified against hardware"
    modes = (*HAND_HELD_MODES, "Hz", "nF to mF", "deg C, deg F", "overload")
    options = frozenset({"told"})
    emulated = _made_up()
    lines = tuple(LineSettings(baud) for baud in (9600, 2400, 19230, 4800))

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        del address
        return ("five digits first: frames of digits11 look alike, so compare with the display",)
