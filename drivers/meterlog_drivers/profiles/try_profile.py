"""Tries a profile on a raw capture and shows what each byte, or each line, means: for writing one by looking."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

from meterlog.address import Address
from meterlog.driver.framing import Decoder
from meterlog.reading import Flag, Reading
from meterlog.text.figures import displayed
from meterlog.transports.raw_capture import RawCapture, read_raw_capture
from meterlog_drivers.display.symbols import SILENT
from meterlog_drivers.frames import Frames
from meterlog_drivers.profiles.frame_display import value_in
from meterlog_drivers.profiles.frame_format import ProfiledFormat, unwrapped
from meterlog_drivers.profiles.frame_number import ProfiledNumber
from meterlog_drivers.profiles.frame_parts import DisplayProfile, Number
from meterlog_drivers.profiles.frame_profile import FrameProfile, frame_profile
from meterlog_drivers.profiles.profile_file import read_profile
from meterlog_drivers.text import Text

FRAMES_SHOWN, LINES_SHOWN, READINGS_SHOWN = 3, 5, 5
"""So many, that the whole answer fits one screen; a choice."""


def try_profile(name: str, path: Path) -> Iterator[str]:
    """The lines to show a person: the first frames byte by byte, the first readings, the counts.

    Raises:
        ProfileError: the profile is wrong.
        LinkError, SessionError: the capture cannot be read.
    """
    profile = read_profile(name, "")
    capture = read_raw_capture(path)
    data = capture.plain or b"".join(chunk.data for chunk in capture.chunks)
    kind = str(profile.values["kind"])
    address = Address(kind, str(path), {"profile": name})
    if not data:
        yield f"{path} is empty"
        return
    if kind == "frames":
        yield from _frames(frame_profile(read_profile(name, "frames")), data)
        decoder = Frames().decoder(address, capture.byte_time_s)
    else:
        decoder = Text().decoder(address, capture.byte_time_s)
        yield from _lines(Text().decoder(address, 0.0), data)
    yield from _summary(decoder, capture, len(data))


def explained(profile: FrameProfile, frame: bytes) -> list[str]:
    """Explain each byte of a frame, as on the wire; a meaning that does not fit begins with `WRONG:`."""
    length = profile.length
    plain = unwrapped(profile, frame) or frame
    said: list[list[str]] = [[] for _ in range(length)]
    for name, at, wanted in (("start", 0, profile.start), ("end", length - len(profile.end), profile.end)):
        for n, byte in enumerate(wanted, at):
            said[n].append(name if frame[n] == byte else f"WRONG: {name} is 0x{byte:02X}")
    for fixed in profile.fixed:
        right = plain[fixed.at] & fixed.mask == fixed.value
        said[fixed.at].append(("" if right else "WRONG: ") + f"always 0x{fixed.value:02X} under 0x{fixed.mask:02X}")
    for display in profile.displays:
        _explain_display(display, plain, said)
    if check := profile.check:
        right = ProfiledFormat(profile).checksum_right(frame)
        for at in range(check.at, check.at + check.size):
            wanted_sum = check.of(frame[check.first : check.last])
            said[at].append("checksum, right" if right else f"WRONG: the checksum should be 0x{wanted_sum:X}")
    masked = [f"under the mask 0x{p:02X}" if p != f else "" for p, f in zip(plain, frame, strict=True)]
    return [
        "; ".join(filter(None, [m, *s])) or ("nothing lit" if s else "not described")
        for m, s in zip(masked, said, strict=True)
    ]


def _explain_display(display: DisplayProfile, plain: bytes, said: list[list[str]]) -> None:
    _explain_number(display.number, plain, said)
    for one in display.maps:
        value = value_in(plain, one)
        words = one.values.get(value)
        shown = f"'{value.decode()}'" if value.isascii() and value.decode().isprintable() else f"0x{value.hex()}"
        unknown = f"{shown}: a person must tell" if one.asked else f"WRONG: {shown} is not in its map"
        for at in one.at:
            said[at].append(unknown if words is None else f"{shown} says {' '.join(sorted(words)) or 'nothing'}")
    for row, state in ((display.bits, "set"), (display.bits_clear, "clear")):
        for (at, bit), words in row.items():
            if bool(plain[at] & bit) == (state == "set") and words - {""}:
                quiet = " (says nothing about the reading)" if words <= set(SILENT) else ""
                said[at].append(f"bit {bit.bit_length() - 1} {state}: {' '.join(sorted(words))}{quiet}")
            elif not said[at]:
                said[at].append("")
    for unused in display.unused:
        if plain[unused.at] & unused.mask:
            said[unused.at].append(f"WRONG: a bit of 0x{unused.mask:02X} is set, but those are unused")


def _explain_number(described: Number, plain: bytes, said: list[list[str]]) -> None:
    number = ProfiledNumber(described, len(plain))
    text = number.text(plain)
    for place, wires in enumerate(described.wires):
        whole = described.digits == "wired-integer"
        for at in sorted({wire.at for wire in wires}):
            what = f"the number {text}" if whole else f"digit {place + 1} '{number.glyph(plain, place)}'"
            said[at].append(f"part of {what}")
    for place, row in enumerate(described.at):
        if described.digits == "integer":
            what = f"part of the number {text}"
        else:
            glyph = number.glyph(plain, place)
            bad = glyph.strip(" 0123456789") != "" and text not in described.overload
            what = f"{'WRONG: no digit: ' if bad else ''}digit {place + 1} '{glyph}'"
        for at in row:
            said[at].append(what)


def _frames(profile: FrameProfile, data: bytes) -> Iterator[str]:
    """The first frames, those that fit before those that nearly do."""
    format_ = ProfiledFormat(profile)
    at = 0
    places: list[int] = []
    misfits: list[int] = []
    while at + profile.length <= len(data) and len(places) < FRAMES_SHOWN:
        fits = format_.parse(data[at : at + profile.length]) is not None
        (places if fits else misfits).append(at)
        if fits:
            at += profile.length
        elif format_.ending is not None and (found := format_.ending.search(data, at)):
            at = found.end()
        else:
            at = format_.next_start(data, at + 1)
    if not places:
        yield "no frame fits; the nearest:"
    for at in places or misfits[:FRAMES_SHOWN]:
        frame = data[at : at + profile.length]
        yield f"frame at byte {at + 1} of the capture:"
        for n, (byte, meaning) in enumerate(zip(frame, explained(profile, frame), strict=True), 1):
            char = chr(byte) if 0x20 <= byte < 0x7F else "."
            yield f"  {n:3}  0x{byte:02X}  {byte:08b}  {char}  {meaning}"
        shown = format_.parse(frame)
        if shown:
            yield f"  shows {'; '.join(reading_text(Reading(0.0, *one)) for one in shown)}"
        elif shown is not None:
            yield "  refused: no meter shows these symbols together"


def _lines(decoder: Decoder, data: bytes) -> Iterator[str]:
    for line in data.splitlines(keepends=True)[:LINES_SHOWN]:
        readings = decoder.feed(line, 0.0)
        what = "; ".join(f"column {r.column + 1}: {reading_text(r)}" for r in readings) or "fits no column"
        yield f"  {line!r}  {what}"


def _summary(decoder: Decoder, capture: RawCapture, size: int) -> Iterator[str]:
    readings: list[Reading] = []
    for chunk in capture.chunks:
        readings += decoder.feed(chunk.data, chunk.arrival_s)
    if capture.plain:
        readings += decoder.feed(capture.plain, 0.0)
    traffic = decoder.traffic
    yield (
        f"{traffic.frames_good} frames good, {traffic.frames_refused} refused,"
        f" {traffic.bytes_discarded} of {size} bytes discarded"
    )
    for reading in readings[:READINGS_SHOWN]:
        yield f"  {reading_text(reading)}"
    if len(readings) > READINGS_SHOWN:
        yield f"  and {len(readings) - READINGS_SHOWN} more"


def reading_text(reading: Reading) -> str:
    """A reading in words: `12.34 V dc_voltage (one count 0.01), AUTORANGE`."""
    value = displayed(reading.value, reading.quantity.unit, reading.resolution)
    count = "" if math.isnan(reading.resolution) else f" (one count {reading.resolution:.3g})"
    flags = [f.name or "" for f in reading.flags & ~(Flag.AC | Flag.DC | Flag.OVERLOAD)]
    return f"{value} {reading.quantity.words}{count}" + "".join(f", {f.lower().replace('_', ' ')}" for f in flags)
