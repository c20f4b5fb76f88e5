"""A frame format that is made from a frames profile: it decodes, encodes, and explains a frame byte by byte."""

from __future__ import annotations

import math
import re
from functools import lru_cache
from itertools import product
from typing import NamedTuple

from meterlog.errors import EncodeError
from meterlog.reading import Reading
from meterlog.text.units import PREFIXES
from meterlog_drivers.display.decimals import counts_at, resolution_exponent
from meterlog_drivers.display.scale import Scale
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.display.symbols import SILENT, SYMBOLS, mode_of, prefixes_of, symbols_of
from meterlog_drivers.formats.fixed_frames import KNOWN_MODES
from meterlog_drivers.profiles.frame_number import ProfiledNumber
from meterlog_drivers.profiles.frame_profile import FrameProfile, Map
from meterlog_drivers.profiles.told import question

_POWER = re.compile(r"e-?\d+")
MOST_COMBINATIONS = 20_000
"""Combinations of the maps' values that an encoder goes through; a profile with more can be read, not emulated."""


class _Mode(NamedTuple):
    """All that a frame says beside its digits."""

    scale: Scale
    minus: bool
    overload: bool
    scaled: bool


class ProfiledFormat:
    """See `FrameFormat`. A frame is worked on as one big integer, first byte highest: masks then cost one `&`."""

    def __init__(self, profile: FrameProfile) -> None:
        self._profile = profile
        self.length = profile.length
        self._number = ProfiledNumber(profile.number, profile.length)
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
        head_mask = bytearray(b"\xff" * self.length)
        if profile.check:
            head_mask[profile.check.at : profile.check.at + profile.check.size] = bytes(profile.check.size)
        self._head_mask = int.from_bytes(head_mask, "big") & ~self._number.mask
        self._mode_of = lru_cache(KNOWN_MODES)(self._mode)
        rows = [*(m.values.values() for m in profile.maps), profile.bits.values(), profile.bits_clear.values()]
        self._vocabulary = frozenset().union(*(words for row in rows for words in row)) - set(SILENT)

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
        mode = self._mode_of(bits & self._head_mask)
        if mode is None:
            return None
        counts = self._number.counts(bits)
        if counts is None and not (mode and mode.overload):
            return () if mode and self.taught else None
        if not mode:
            return ()
        if mode.overload or counts is math.inf or counts is None:
            return mode.scale.overload(mode.minus)
        if not mode.scaled:
            return ()
        return mode.scale.number(-int(counts) if mode.minus else int(counts))

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

    def words(self, frame: bytes) -> set[str] | None:
        """The words that an unmasked frame's maps and bits say; None where a map does not have the value."""
        said: set[str] = set()
        for one in self._profile.maps:
            found = one.values.get(value_in(frame, one))
            if found is None:
                if not one.unknown_refused:
                    return None
                found = frozenset({"refused"})
            said |= found
        for (at, bit), words in self._profile.bits.items():
            if frame[at] & bit:
                said |= words
        for (at, bit), words in self._profile.bits_clear.items():
            if not frame[at] & bit:
                said |= words
        return said

    def _mode(self, head: int) -> _Mode | tuple[()] | None:
        """Read all of a frame but its digits; () for what no meter says, None where a map lacks a value."""
        frame = head.to_bytes(self.length, "big")
        said = self.words(frame)
        if said is None:
            return None
        points = [int(w[5:]) for w in said if w.startswith("point")]
        columns = [int(w[6:]) for w in said if w.startswith("column")]
        mode = mode_of(said & SYMBOLS)
        powers = [int(w[1:]) for w in said if _POWER.fullmatch(w)]
        rest = (*self._profile.unused, *self._profile.steady)
        unused = any(frame[u.at] & u.mask != u.value for u in rest)
        if mode is None or unused or len(points) + len(powers) > 1 or len(columns) > 1 or "refused" in said:
            return ()
        decimals = points[0] if points else self._profile.number.decimals or 0
        scale = Scale.of(
            mode.quantity,
            powers[0] if powers else mode.exponent - decimals,
            mode.flags,
            fahrenheit=mode.fahrenheit,
            column=columns[0] if columns else 0,
        )
        return _Mode(scale, "minus" in said, "overload" in said, "unscaled" not in said)

    def build(self, reading: Reading) -> bytes:
        """See `FrameFormat`."""
        available = [p for p in PREFIXES if p in self._vocabulary]
        prefixes = prefixes_of(reading.quantity, available)
        if math.isnan(reading.resolution):
            exponents = sorted({PREFIXES[p] - d for p in prefixes for d in range(7)})
        else:
            exponents = [resolution_exponent(reading.resolution)]
        for exponent in exponents:
            for prefix in prefixes:
                if 0 <= PREFIXES[prefix] - exponent <= 6 or f"e{exponent}" in self._vocabulary:
                    frame = self._build(reading, exponent, prefix)
                    if frame is not None:
                        return frame
        raise EncodeError(
            f"the profile has no frame for {reading.value:g} as {reading.quantity} at {reading.resolution:g}"
            f" with the flags {reading.flags!r}"
        )

    def _build(self, reading: Reading, exponent: int, prefix: str) -> bytes | None:
        needed = symbols_of(reading, prefix)
        decimals = PREFIXES[prefix] - exponent
        if f"e{exponent}" in self._vocabulary:
            needed.add(f"e{exponent}")
            decimals = 0
        if self._profile.number.decimals is not None and decimals != self._profile.number.decimals:
            return None
        if self._profile.number.decimals is None and (decimals or "point0" in self._vocabulary):
            needed.add(f"point{decimals}")
        if reading.column or "column0" in self._vocabulary:
            needed.add(f"column{reading.column}")
        counts = None if math.isinf(reading.value) else counts_at(reading.value, exponent)
        if counts is None and "overload" in self._vocabulary:
            needed.add("overload")
        if reading.value < 0 and not (self._number.signed and counts is not None):
            needed.add("minus")
        if not needed <= self._vocabulary:
            return None
        for frame in self._frames_saying(needed):
            if self._number.put(frame, counts, reading.value):
                built = self._finish(frame)
                shown = self.parse(built)
                if shown and (math.isnan(reading.resolution) or _same_count(shown[0].value, reading)):
                    return built
        return None

    def _frames_saying(self, needed: set[str]) -> list[bytearray]:
        """The unmasked frames, but for the digits, whose maps and bits say just what is needed."""
        profile = self._profile
        choices = []
        for one in profile.maps:
            fits = [value for value, words in one.values.items() if words - set(SILENT) <= needed]
            choices.append([(one, value) for value in fits])
        if math.prod(map(len, choices)) > MOST_COMBINATIONS:
            raise EncodeError("the profile's maps have too many combinations to be emulated")
        frames = []
        for chosen in product(*choices):
            frame = bytearray(self._fixed.to_bytes(self.length, "big"))
            for steady in profile.steady:
                frame[steady.at] |= steady.value
            for one, value in chosen:
                for at, mask, byte in zip(one.at, one.masks, value, strict=True):
                    frame[at] = frame[at] & ~mask | byte
            for (at, bit), words in profile.bits.items():
                if words - set(SILENT) and words <= needed:
                    frame[at] |= bit
            for (at, bit), words in profile.bits_clear.items():
                if not words <= needed and (at, bit) not in profile.bits:
                    frame[at] |= bit
            said = self.words(bytes(frame))
            if said is not None and said - set(SILENT) == needed:
                frames.append(frame)
        return frames

    def _finish(self, frame: bytearray) -> bytes:
        """Mask a frame and give it its checksum."""
        wire = bytearray(wrapped(self._profile, bytes(frame)))
        if check := self._profile.check:
            value = check.of(bytes(wire[check.first : check.last]))
            wire[check.at : check.at + check.size] = value.to_bytes(
                check.size, "big" if check.order == "big" else "little"
            )
        return bytes(wire)


def value_in(frame: bytes, one: Map) -> bytes:
    """The masked bytes of a frame that a map looks at."""
    return bytes(frame[at] & mask for at, mask in zip(one.at, one.masks, strict=True))


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


def _same_count(shown: float, reading: Reading) -> bool:
    """Tell whether a display that shows this shows the reading: 0.01 * 35 is 0.35, as every display rounds it."""
    return shown == reading.value or abs(shown - reading.value) < 0.5 * reading.resolution
