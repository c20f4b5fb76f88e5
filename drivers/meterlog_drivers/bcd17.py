"""bcd17: seventeen packets, four digits as half-bytes, the display's symbols as bits; 9600 baud 8N1, three a second.

The byte tables are the profiles `profiles/bcd17-frames.toml` and, with `chip=sister`, `bcd17-sister-frames.toml`.
Point, digits and symbols are from a chip's datasheet (graded A); the codes of the unit's prefix (byte 13), the header,
the device code and the second display were not on the pages read. So a frame gives no reading until a person has told
which prefix the display shows with that byte: `told=01:m,00:none`. Adapters, peaks and underload are refused.
As no mark of a beginning is known, frames that were cut short and follow one another without a pause can be read
shifted; on a line, the pause of 0.3 s between frames tells them apart.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.transports import LineSettings
from meterlog_drivers.formats.fixed_frames import SYMBOL_MODES
from meterlog_drivers.profiles.profiled_driver import ProfiledDriver


class Bcd17(ProfiledDriver):
    """Meters that send digits as half-bytes and symbols as bits in seventeen packets."""

    name = "bcd17"
    profile = "bcd17-frames"
    summary = "17 packets: point, sign, digits as half-bytes, symbol bits, unit; asks for the prefix"
    verification = "digits and symbols from a datasheet, the prefix is asked; unverified against hardware"
    modes = SYMBOL_MODES
    options = frozenset({"told", "spare", "chip"})
    lines = (LineSettings(9600),)
    variants = ("", "chip=sister")
    emulated = "told=00:none,01:m,02:k,03:M"  # made up

    def profile_of(self, address: Address) -> str:
        """See `ProfiledDriver`; `chip=sister` moves some bits."""
        chip = address.choice("chip", ("first", "sister"), "first")
        return "bcd17-sister-frames" if chip == "sister" else self.profile

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        other = "first" if address.options.get("chip") == "sister" else "sister"
        return (f"which bit says low battery, minimum and maximum; another chip has others (chip={other})",)
