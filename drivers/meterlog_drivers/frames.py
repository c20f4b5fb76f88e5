"""frames: meters that send binary frames described by a TOML profile (its words: `profiles/frame_profile.py`).

A person adds their meter without Python: `frames:/dev/ttyUSB0?profile=mine.toml`. `meterlog meters --try mine.toml
FILE.raw` decodes a raw capture with it and shows each byte's meaning.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.driver import Traffic
from meterlog.driver.framing import Decoder, Encoder, FramingDriver
from meterlog.errors import AddressError
from meterlog.reading import Reading
from meterlog.timing.pauses import Pauses
from meterlog.transports import LineSettings
from meterlog_drivers.display.doubt import Doubt
from meterlog_drivers.formats.fixed_frames import FixedFrameDecoder, FixedFrameEncoder
from meterlog_drivers.profiles.frame_format import ProfiledFormat
from meterlog_drivers.profiles.frame_profile import FrameProfile, frame_profile
from meterlog_drivers.profiles.profile_file import read_profile


class GapDecoder:
    """Frames that nothing but a pause tells apart: one begins with the first byte after a pause of `gap_s`.

    What comes before the first pause is thrown away: it may be the middle of a frame. Frames that a late read
    glued together are taken apart by their length; what does not parse waits for the next pause.
    """

    def __init__(self, profile: FrameProfile, byte_time_s: float) -> None:
        self.traffic = Traffic()
        self._format = ProfiledFormat(profile)
        self._byte_time_s = byte_time_s
        self._rest = b""
        self._in_step = False
        self._pauses = Pauses(byte_time_s, profile.gap_s)
        self._doubt = Doubt(self._format.parse)

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """See `meterlog.driver.framing.Decoder`."""
        if self._pauses.before(data, arrival_s):
            self.traffic.bytes_discarded += len(self._rest)
            self._rest, self._in_step = b"", True
        data = self._rest + data
        length, start = self._format.length, 0
        readings: list[Reading] = []
        while self._in_step and len(data) - start >= length:
            shown = self._format.parse(data[start : start + length])
            if shown is None:
                self._in_step = False
                break
            if shown:
                self.traffic.frames_good += 1
                time_s = arrival_s - (len(data) - start) * self._byte_time_s
                judged = self._doubt.judged(data[start : start + length], shown, self.traffic.frames_good)
                readings.extend(Reading(time_s, *one) for one in judged)
            else:
                self.traffic.frames_refused += 1
                if self._format.taught:
                    self.traffic.never_taught = data[start : start + length]
            start += length
        if not self._in_step:
            self.traffic.bytes_discarded += len(data) - start
            start = len(data)
        self._rest = data[start:]
        return readings


class _TogetherEncoder:
    """Builds frames that show several displays at once. See `meterlog.driver.framing.Encoder`."""

    def __init__(self, profile: FrameProfile) -> None:
        self._format = ProfiledFormat(profile)

    def encode(self, readings: list[Reading]) -> bytes:
        """One frame with all the readings, one of each display from the first on."""
        return self._format.build(*readings)


class Frames(FramingDriver):
    """Meters that send binary frames which a profile describes."""

    name = "frames"
    summary = "binary frames described by a profile"
    verification = "four profiles are drivers of their own; what a meter sends is the profile's to say"
    modes = ("whatever the profile names",)
    options = frozenset({"profile"})
    lines = (LineSettings(9600, 8, "N", 1),)
    variants = ()  # its shipped profiles are other drivers' framings

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """See `FramingDriver.decoder`."""
        profile = _profile(address)
        if profile.gap_s:
            return GapDecoder(profile, byte_time_s)
        return FixedFrameDecoder(ProfiledFormat(profile), byte_time_s, taught=profile.taught)

    def encoder(self, address: Address) -> Encoder:
        """See `FramingDriver.encoder`."""
        profile = _profile(address)
        together = len(profile.displays) > 1
        return _TogetherEncoder(profile) if together else FixedFrameEncoder(ProfiledFormat(profile))

    def lines_for(self, address: Address) -> tuple[LineSettings, ...]:
        """The line settings that the profile names."""
        return _profile(address).lines

    def one_column(self, address: Address) -> bool:
        """True where the profile names no second column."""
        return _profile(address).columns == 1


def _profile(address: Address) -> FrameProfile:
    if "profile" not in address.options:
        raise AddressError(f"'{address}' needs a profile: frames:PORT?profile=FILE.toml")
    return frame_profile(read_profile(address.options["profile"], "frames"))
