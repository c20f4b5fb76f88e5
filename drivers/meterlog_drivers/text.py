"""text: meters that send a line of text a reading; a profile says what it means (see `profiles/text_profile.py`).

The tail of a line is a line too: `2.34 V` of `12.34 V`. So the first line after an opening in mid-line, or behind a
pause that cut one, waits for the next: if that is as long, it was whole and comes with its own time; else it is thrown
away and counted.
"""

from __future__ import annotations

from meterlog.address import Address
from meterlog.driver import Traffic
from meterlog.driver.framing import Decoder, Encoder, FramingDriver
from meterlog.reading import Reading
from meterlog.timing.pauses import Pauses
from meterlog.transports import LineSettings
from meterlog_drivers.display.doubt import Doubt
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.formats.fixed_frames import KNOWN_FRAMES
from meterlog_drivers.profiles.draft_profile import drafted_profile
from meterlog_drivers.profiles.text_profile import TextProfile, text_profile

LONGEST_LINE = 256
"""Bytes; a longer line is thrown away whole."""


class TextDecoder:
    """Lines to readings. CR, LF and CR LF all end a line; a line that fits no column is refused and counted."""

    def __init__(self, profile: TextProfile, byte_time_s: float) -> None:
        self.traffic = Traffic()
        self._profile = profile
        self._byte_time_s = byte_time_s
        self._rest = b""
        self._skipping = False  # the line that is coming is too long already
        self._midway = False  # the line that is coming may be the tail of one
        self._held: tuple[int, list[Reading]] | None = None  # that line's length and readings
        self._known: dict[bytes, tuple[Shown, ...]] = {}
        self._pauses = Pauses(byte_time_s)
        self._doubt = Doubt(self._parse)
        self._last = b""  # the line before, unless it was doubted

    def feed(self, data: bytes, arrival_s: float) -> list[Reading]:
        """See `meterlog.driver.framing.Decoder`."""
        if self._pauses.before(data, arrival_s) and self._rest:
            self.traffic.bytes_discarded += len(self._rest)
            self.traffic.frames_broken += 1
            self._rest = b""
            self.joined_midway()
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
                traffic.frames_broken += 1
                self._skipping = False
                continue
            if not line:
                continue
            shown = known.get(line)
            if shown is None:
                shown = self._learn(line)
            time_s = arrival_s - (len(data) - start) * byte_time_s
            if self._midway and not self._whole(line, shown, time_s, readings):
                continue
            if shown:
                traffic.frames_good += 1
                if line != self._last:
                    self._last = line
                    judged = self._doubt.judged(line, shown, traffic.frames_good)
                    if judged is not shown:
                        shown, self._last = judged, b""
                for one in shown:
                    readings.append(make(Reading, (time_s, *one, 0.0)))
            else:
                traffic.frames_refused += 1
                if self._profile.taught:
                    traffic.never_taught = line
        if len(self._rest) > LONGEST_LINE or self._skipping:
            traffic.bytes_discarded += len(self._rest)
            self._rest, self._skipping = b"", True
        return readings

    def _whole(self, line: bytes, shown: tuple[Shown, ...], time_s: float, readings: list[Reading]) -> bool:
        """Tell whether a line is surely whole: one came before it. If that was whole too, its readings are given."""
        if self._held is None:
            self._held = len(line), [Reading(time_s, *one) for one in shown]
            return False
        length, first = self._held
        if shown:
            self.joined_midway(False)
            if first and length == len(line):
                self.traffic.frames_good += 1
                readings += first
            else:
                self.traffic.bytes_discarded += length + 1
        return True

    def _parse(self, line: bytes) -> tuple[Shown, ...]:
        try:
            text = line.decode("utf-8")
        except UnicodeDecodeError:
            text = line.decode("latin-1")
        return self._profile.parse(text.strip()) or ()

    def _learn(self, line: bytes) -> tuple[Shown, ...]:
        shown = self._parse(line)
        if len(self._known) >= KNOWN_FRAMES:
            self._known.clear()
        self._known[line] = shown
        return shown

    def joined_midway(self, midway: bool = True) -> None:
        """Take the line that comes next for the tail of one, until the line behind it says that it was whole."""
        self._midway, self._held = midway, None


class TextEncoder:
    """Readings to a line."""

    def __init__(self, profile: TextProfile) -> None:
        self._profile = profile

    def encode(self, readings: list[Reading]) -> bytes:
        """See `meterlog.driver.framing.Encoder`."""
        return self._profile.write(readings).encode("utf-8")


class Text(FramingDriver):
    """Meters that send a line of text a reading."""

    name = "text"
    summary = "a line of text a reading, described by a profile"
    verification = "checked against its own profiles' examples; what a meter sends is the profile's to say"
    modes = ("whatever the profile names; several columns a line",)
    options = frozenset({"profile", "quantity", "unit"})
    lines = (LineSettings(9600, 8, "N", 1),)
    variants = (
        "",
        "profile=columns",
        "profile=semicolons",
        "profile=decimal-comma",
        "profile=number",
        "profile=two-column",
    )

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
        """True where the profile describes one column."""
        return len(text_profile(address).columns) == 1

    def assumed(self, address: Address) -> tuple[str, ...]:
        """See `FramingDriver.assumed`."""
        comma = address.options.get("profile") == "decimal-comma"
        return ("a comma is taken for the decimal sign: 1,250 is one and a quarter, no thousand",) if comma else ()

    def drafted(self, data: bytes, line: LineSettings) -> str:
        """See `FramingDriver.drafted`."""
        return drafted_profile(data, line)

    def unsaid(self, address: Address) -> str:
        """The quantities of bare numbers, where only a shipped profile's default says them."""
        if address.options.get("profile") in ("number", "two-column") and "quantity" not in address.options:
            return "the numbers come without units: say what they are, for example quantity=dc_voltage"
        return ""
