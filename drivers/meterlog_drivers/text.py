"""text: meters that send a line of text a reading. A profile says what a line means (see `text_profile.py`)."""

from __future__ import annotations

from meterlog.address import Address
from meterlog.driver import Traffic
from meterlog.framing import Decoder, Encoder, FramingDriver
from meterlog.reading import Reading
from meterlog.transports import LineSettings
from meterlog_drivers.fixed_frames import KNOWN_FRAMES, Shown
from meterlog_drivers.text_profile import TextProfile, text_profile

LONGEST_LINE = 256
"""Bytes; a longer line is thrown away whole."""


class TextDecoder:
    """Lines to readings. CR, LF and CR LF all end a line; a line that fits no column is refused and counted."""

    def __init__(self, profile: TextProfile, byte_time_s: float) -> None:
        self.traffic = Traffic()
        self._profile = profile
        self._byte_time_s = byte_time_s
        self._rest = b""
        self._skipping = False  # the line that is coming is too long already, or may be the tail of one
        self._known: dict[bytes, tuple[Shown, ...]] = {}

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """See `meterlog.framing.Decoder`."""
        data = self._rest + data if self._rest else bytes(data)
        lines = data.replace(b"\r", b"\n").split(b"\n")
        self._rest = lines.pop()
        known, traffic, byte_time_s = self._known, self.traffic, self._byte_time_s
        readings: list[Reading] = []
        make = tuple.__new__  # what Reading(...) does, at half its cost
        before = 0
        for line in lines:
            start, before = before, before + len(line) + 1
            if self._skipping or len(line) > LONGEST_LINE:
                traffic.bytes_discarded += len(line) + 1
                self._skipping = False
                continue
            if not line:
                continue
            shown = known.get(line)
            if shown is None:
                shown = self._learn(line)
            if shown:
                traffic.frames_good += 1
                time_s = arrival_s - (len(data) - start) * byte_time_s
                for one in shown:
                    readings.append(make(Reading, (time_s, *one)))
            else:
                traffic.frames_refused += 1
        if len(self._rest) > LONGEST_LINE or self._skipping:
            traffic.bytes_discarded += len(self._rest)
            self._rest, self._skipping = b"", True
        return readings

    def _learn(self, line: bytes) -> tuple[Shown, ...]:
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("latin-1")
        shown = self._profile.parse(text.strip()) or ()
        if len(self._known) >= KNOWN_FRAMES:
            self._known.clear()
        self._known[line] = shown
        return shown

    def joined_midway(self) -> None:
        """Throw the first line away: it may be the tail of one."""
        self._skipping = True


class TextEncoder:
    """Readings to a line."""

    def __init__(self, profile: TextProfile) -> None:
        self._profile = profile

    def encode(self, readings: list[Reading]) -> bytes:
        """See `meterlog.framing.Encoder`."""
        return self._profile.write(readings).encode("utf-8")


class Text(FramingDriver):
    """Meters that send a line of text a reading."""

    name = "text"
    summary = "a line of text a reading, described by a profile"
    verification = "checked against its own profiles' examples; what a meter sends is the profile's to say"
    modes = ("whatever the profile names; several columns a line",)
    options = frozenset({"profile", "quantity", "unit"})
    lines = (LineSettings(9600, 8, "N", 1),)
    variants = ("", "profile=columns", "profile=number", "profile=two-column")

    def decoder(self, address: Address, byte_time_s: float) -> Decoder:
        """See `FramingDriver.decoder`."""
        return TextDecoder(text_profile(address), byte_time_s)

    def encoder(self, address: Address) -> Encoder:
        """See `FramingDriver.encoder`."""
        return TextEncoder(text_profile(address))

    def lines_for(self, address: Address) -> tuple[LineSettings, ...]:
        """The line settings that the profile names."""
        return text_profile(address).lines

    def one_column(self, address: Address) -> bool:
        """Whether the profile describes one column."""
        return len(text_profile(address).columns) == 1

    def unsaid(self, address: Address) -> str:
        """The quantities of bare numbers, where only a shipped profile's default says them."""
        if address.options.get("profile") in ("number", "two-column") and "quantity" not in address.options:
            return "the numbers come without units: say what they are, for example quantity=dc_voltage"
        return ""
