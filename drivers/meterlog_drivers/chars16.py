"""chars16: sixteen characters with a unit code, eight digits and the number of decimals; 9600 baud 8N1.

The byte table is the profile `profiles/chars16-frames.toml` (graded A: a maker's description of the frame). It names
no overload: a frame with anything but digits in their places is none.
"""

from __future__ import annotations

from meterlog.transports import LineSettings
from meterlog_drivers.profiles.profiled_driver import ProfiledDriver


class Chars16(ProfiledDriver):
    """Meters that send sixteen characters with a unit code."""

    name = "chars16"
    profile = "chars16-frames"
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
