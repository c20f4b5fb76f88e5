"""A frame format that is made from a frames profile: it decodes, encodes, and explains a frame byte by byte."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator

from meterlog.errors import EncodeError
from meterlog.reading import Reading
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.profiles.frame_display import ProfiledDisplay
from meterlog_drivers.profiles.frame_profile import FrameProfile
from meterlog_drivers.profiles.told import question


class ProfiledFormat:
    """See `FrameFormat`. A frame is worked on as one big integer, first byte highest: masks then cost one `&`."""

    def __init__(self, profile: FrameProfile) -> None:
        self._profile = profile
        self.length = profile.length
        self.ending: re.Pattern[bytes] | None = None
        self._start, end = (_with_parity(profile, mark) for mark in (profile.start, profile.end))
        if end and not self._start:
            self.ending = re.compile(re.escape(end[-2:]))
        self.taught, self.unmarked = profile.taught, not (profile.start or profile.end)
        fixed_mask, fixed = bytearray(self.length), bytearray(self.length)
        ends = [*enumerate(profile.start), *enumerate(profile.end, self.length - len(profile.end))]
        for at, byte in ends:
            fixed_mask[at], fixed[at] = 0xFF, byte
        for one in profile.fixed:
            fixed_mask[one.at] |= one.mask
            fixed[one.at] |= one.value
        self._fixed_mask, self._fixed = int.from_bytes(fixed_mask, "big"), int.from_bytes(fixed, "big")
        bare = not (profile.start or profile.end or profile.parity or profile.offset or profile.xor)
        self._looks = _looks_like(bytes(fixed_mask), bytes(fixed)) if bare and any(fixed_mask) else None
        self._displays = [
            ProfiledDisplay(one, self.length, taught=profile.taught, column=column)
            for column, one in enumerate(profile.displays)
        ]

    def next_start(self, data: bytes, start: int) -> int:
        """See `FrameFormat`."""
        if self._start:
            found = data.find(self._start, start)
            return found if found >= 0 else max(start, len(data) - len(self._start) + 1)
        if self._looks is not None:
            match = self._looks.search(data, start)
            return match.start() if match else max(start, len(data) - self.length + 1)
        return start

    def parse(self, frame: bytes) -> tuple[Shown, ...] | None:
        """See `FrameFormat`."""
        if not self.checksum_right(frame) or (plain := unwrapped(self._profile, bytes(frame))) is None:
            return None
        bits = int.from_bytes(plain, "big")
        if bits & self._fixed_mask != self._fixed:
            return None
        shown = self._displays[0].shown(bits)
        if shown:
            for other in self._displays[1:]:
                shown += other.shown(bits) or ()
        return shown

    def question(self, frame: bytes) -> str:
        """See `AsksAPerson`: what only a person can tell of a frame that was refused."""
        plain = unwrapped(self._profile, frame)
        return question(self._profile, plain) if plain else ""

    def checksum_right(self, frame: bytes) -> bool:
        """Check the checksum of a frame as on the wire; True where the profile names none."""
        check = self._profile.check
        return check is None or check.of(frame[check.first : check.last]) == int.from_bytes(
            frame[check.at : check.at + check.size], "big" if check.order == "big" else "little"
        )

    def build(self, *readings: Reading) -> bytes:
        """See `FrameFormat`; of several displays in one frame, a reading of each.

        Raises:
            EncodeError: the profile has no such frame.
        """
        frames: Iterator[bytes] = iter([self._fixed.to_bytes(self.length, "big")])
        for display, reading in zip(self._displays, readings, strict=False):
            frames = _with_display(display, frames, reading)
        for frame in frames:
            built = self._finish(bytearray(frame))
            shown = self.parse(built) or ()
            if len(shown) == len(readings) and all(map(_same, shown, readings)):
                return built
        said = ", ".join(
            f"{one.value:g} as {one.quantity} at {one.resolution:g} with the flags {one.flags!r}" for one in readings
        )
        raise EncodeError(f"the profile has no frame for {said}")

    def _finish(self, frame: bytearray) -> bytes:
        """Mask a frame and give it its checksum."""
        wire = bytearray(wrapped(self._profile, bytes(frame)))
        if check := self._profile.check:
            value = check.of(bytes(wire[check.first : check.last]))
            wire[check.at : check.at + check.size] = value.to_bytes(
                check.size, "big" if check.order == "big" else "little"
            )
        return bytes(wire)


def _with_display(display: ProfiledDisplay, frames: Iterable[bytes], reading: Reading) -> Iterator[bytes]:
    for frame in frames:
        yield from map(bytes, display.frames(frame, reading))


def unwrapped(profile: FrameProfile, wire: bytes) -> bytes | None:
    """Take parity, offset and mask off the bytes of the wire; None where the parity is wrong."""
    if profile.parity:
        odd = profile.parity == "odd"
        if any(byte.bit_count() % 2 != odd for byte in wire):
            return None
        wire = bytes(byte & 0x7F for byte in wire)
    if profile.offset:
        wire = bytes((byte - more) & 0xFF for byte, more in zip(wire, profile.offset, strict=True))
    if profile.xor:
        wire = bytes(byte ^ mask for byte, mask in zip(wire, profile.xor, strict=True))
    return wire


def wrapped(profile: FrameProfile, plain: bytes) -> bytes:
    """Put mask, offset and parity on, as `unwrapped` takes them off."""
    if profile.xor:
        plain = bytes(byte ^ mask for byte, mask in zip(plain, profile.xor, strict=True))
    if profile.offset:
        plain = bytes((byte + more) & 0xFF for byte, more in zip(plain, profile.offset, strict=True))
    return _with_parity(profile, plain)


def _with_parity(profile: FrameProfile, plain: bytes) -> bytes:
    odd = profile.parity == "odd"
    return bytes(b | 0x80 if b.bit_count() % 2 != odd else b for b in plain) if profile.parity else plain


def _looks_like(mask: bytes, fixed: bytes) -> re.Pattern[bytes]:
    """A pattern of the frames that have these bits: it passes noise over much faster than parsing each place."""
    kinds = ([byte for byte in range(256) if byte & one == value] for one, value in zip(mask, fixed, strict=True))
    return re.compile(b"".join(b"[" + re.escape(bytes(kind)) + b"]" for kind in kinds), re.DOTALL)


def _same(shown: Shown, reading: Reading) -> bool:
    """Tell whether a display that shows this shows the reading: 0.01 * 35 is 0.35, as every display rounds it."""
    if math.isnan(reading.resolution) or shown.value == reading.value:
        return True
    return abs(shown.value - reading.value) < 0.5 * reading.resolution
