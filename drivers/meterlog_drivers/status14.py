"""status14: fourteen bytes, a sign and digits in characters, the display's symbols as bits; 2400 baud 8N1.

The byte table is the profile `profiles/status14-frames.toml` (graded M: from memory, unverified against hardware).
Bits without a name are refused when set, as a frame that no meter sends; where a meter of yours lights them for
symbols of its own, the option `spare=ignored` lets them pass.
"""

from __future__ import annotations

from meterlog.transports import LineSettings
from meterlog_drivers.formats.fixed_frames import SYMBOL_MODES
from meterlog_drivers.profiles.profiled_driver import ProfiledDriver


class Status14(ProfiledDriver):
    """Meters that send a sign, four digit characters and four bytes of symbols."""

    name = "status14"
    profile = "status14-frames"
    summary = "14 bytes: sign, digit characters, symbol bits, CR LF"
    verification = "unverified against hardware (byte table from memory); round trip and flipped bits tested"
    modes = SYMBOL_MODES
    options = frozenset({"spare"})
    lines = (LineSettings(2400, 8, "N", 1),)
