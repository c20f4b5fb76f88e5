"""One display of a frame, as a frames profile describes it: what its bits say, and the bits that say a reading."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
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
from meterlog_drivers.profiles.frame_parts import DisplayProfile, Map

_POWER = re.compile(r"e-?\d+")
MOST_COMBINATIONS = 20_000
"""Combinations of the maps' values that an encoder goes through; a profile with more can be read, not emulated."""


class _Mode(NamedTuple):
    """All that a frame says beside its digits."""

    scale: Scale
    minus: bool
    overload: bool
    scaled: bool


class ProfiledDisplay:
    """Reads one display from a frame that is held as one big integer, first byte highest, and writes it there.

    Args:
        display: from the profile.
        length: bytes of the frame.
        taught: what is not known was never taught, so a frame with it is one.
        column: which display it is where no word says so.
    """

    def __init__(self, display: DisplayProfile, length: int, *, taught: bool, column: int) -> None:
        self._display, self._length, self._taught, self._column = display, length, taught, column
        self._number = ProfiledNumber(display.number, length)
        self._head_mask = int.from_bytes(_looked_at(display, length), "big")
        self._mode_of = lru_cache(KNOWN_MODES)(self._mode)
        self._vocabulary = display.words - set(SILENT)

    def shown(self, bits: int) -> tuple[Shown, ...] | None:
        """Return what a frame's bits show: () for what no meter says, None for no frame."""
        mode = self._mode_of(bits & self._head_mask)
        if mode is None:
            return None
        counts = self._number.counts(bits)
        if counts is None and not (mode and mode.overload):
            return () if mode and self._taught else None
        if not mode:
            return ()
        if mode.overload or counts is math.inf or counts is None:
            return mode.scale.overload(mode.minus)
        if not mode.scaled:
            return mode.scale.overload(mode.minus) if counts in self._display.number.unscaled_overload else ()
        return mode.scale.number(-int(counts) if mode.minus else int(counts))

    def _words(self, frame: bytes) -> set[str] | None:
        """The words that an unmasked frame's maps and bits say; None where a map does not have the value."""
        said: set[str] = set()
        for one in self._display.maps:
            found = one.values.get(value_in(frame, one))
            if found is None:
                if not one.unknown_refused:
                    return None
                found = frozenset({"refused"})
            said |= found
        for (at, bit), words in self._display.bits.items():
            if frame[at] & bit:
                said |= words
        for (at, bit), words in self._display.bits_clear.items():
            if not frame[at] & bit:
                said |= words
        return said

    def _mode(self, head: int) -> _Mode | tuple[()] | None:
        """Read all of a frame but its digits; () for what no meter says, None where a map lacks a value."""
        frame = head.to_bytes(self._length, "big")
        said = self._words(frame)
        if said is None:
            return None
        points = [int(w[5:]) for w in said if w.startswith("point")]
        columns = [int(w[6:]) for w in said if w.startswith("column")]
        mode = mode_of(said & SYMBOLS)
        powers = [int(w[1:]) for w in said if _POWER.fullmatch(w)]
        rest = (*self._display.unused, *self._display.steady)
        unused = any(frame[u.at] & u.mask != u.value for u in rest)
        if mode is None or unused or len(points) + len(powers) > 1 or len(columns) > 1 or "refused" in said:
            return ()
        decimals = points[0] if points else self._display.number.decimals or 0
        scale = Scale.of(
            mode.quantity,
            powers[0] if powers else mode.exponent - decimals,
            mode.flags,
            fahrenheit=mode.fahrenheit,
            column=columns[0] if columns else self._column,
        )
        return _Mode(scale, "minus" in said, "overload" in said, "unscaled" not in said)

    def frames(self, base: bytes, reading: Reading) -> Iterator[bytearray]:
        """The unmasked frames, made from another, that may show a reading."""
        available = [p for p in PREFIXES if p in self._vocabulary]
        prefixes = prefixes_of(reading.quantity, available)
        if math.isnan(reading.resolution):
            exponents = sorted({PREFIXES[p] - d for p in prefixes for d in range(7)})
        else:
            exponents = [resolution_exponent(reading.resolution)]
        for exponent in exponents:
            for prefix in prefixes:
                if 0 <= PREFIXES[prefix] - exponent <= 6 or f"e{exponent}" in self._vocabulary:
                    yield from self._scaled(base, reading, exponent, prefix)

    def _scaled(self, base: bytes, reading: Reading, exponent: int, prefix: str) -> Iterator[bytearray]:
        """Those in which one count is a given power of ten."""
        needed = symbols_of(reading, prefix)
        decimals = PREFIXES[prefix] - exponent
        number = self._display.number
        if f"e{exponent}" in self._vocabulary:
            needed.add(f"e{exponent}")
            decimals = 0
        if number.decimals is not None and decimals != number.decimals:
            return
        if number.decimals is None and (decimals or "point0" in self._vocabulary):
            needed.add(f"point{decimals}")
        if reading.column != self._column or "column0" in self._vocabulary:
            needed.add(f"column{reading.column}")
        counts = None if math.isinf(reading.value) else counts_at(reading.value, exponent)
        if counts is None and "overload" in self._vocabulary:
            needed.add("overload")
        if reading.value < 0 and not (self._number.signed and counts is not None):
            needed.add("minus")
        if needed <= self._vocabulary:
            for frame in self._saying(base, needed):
                if self._number.put(frame, counts, reading.value):
                    yield frame

    def _saying(self, base: bytes, needed: set[str]) -> list[bytearray]:
        """The frames, but for the digits, whose maps and bits say just what is needed."""
        display = self._display
        choices = []
        for one in display.maps:
            fits = [value for value, words in one.values.items() if words - set(SILENT) <= needed]
            choices.append([(one, value) for value in fits])
        if math.prod(map(len, choices)) > MOST_COMBINATIONS:
            raise EncodeError("the profile's maps have too many combinations to be emulated")
        frames = []
        for chosen in product(*choices):
            frame = bytearray(base)
            for steady in display.steady:
                frame[steady.at] |= steady.value
            for one, value in chosen:
                for at, mask, byte in zip(one.at, one.masks, value, strict=True):
                    frame[at] = frame[at] & ~mask | byte
            for (at, bit), words in display.bits.items():
                if words - set(SILENT) and words <= needed:
                    frame[at] |= bit
            for (at, bit), words in display.bits_clear.items():
                if not words <= needed and (at, bit) not in display.bits:
                    frame[at] |= bit
            said = self._words(bytes(frame))
            if said is not None and said - set(SILENT) == needed:
                frames.append(frame)
        return frames


def _looked_at(display: DisplayProfile, length: int) -> bytes:
    """The bits that say anything beside the digits."""
    looked = bytearray(length)
    for one in display.maps:
        for at, mask in zip(one.at, one.masks, strict=True):
            looked[at] |= mask
    for at, mask in (*display.bits, *display.bits_clear, *((u.at, u.mask) for u in (*display.unused, *display.steady))):
        looked[at] |= mask
    return bytes(looked)


def value_in(frame: bytes, one: Map) -> bytes:
    """The masked bytes of a frame that a map looks at."""
    return bytes(frame[at] & mask for at, mask in zip(one.at, one.masks, strict=True))
