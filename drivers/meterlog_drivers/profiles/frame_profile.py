"""The meaning of a binary frame: a frames profile, read from TOML.

Bytes are counted from 1, bits of a byte from 0, the least significant. A value in a map is ASCII text, `"18"`, or
bytes in hex, `"0x3138"`. Words say what the meter's display shows:

- symbols: `V A ohm Hz F % degC degF beep diode`, the prefixes `p n u m k M`, `ac dc auto hold relative minimum maximum
  low-battery`, and `bar auto-power-off rs232` which say nothing about the reading
- `minus`, `overload`
- `point0` .. `point6`: so many decimals
- `column0` .. `column7`: which of several displays
- `e-12` .. `e6`: one count is that power of ten of the unit, in place of a prefix and a point
- `unscaled`: where the point stands is not known here: no number is read, an overload is

Top level: `kind = "frames"`, `about`, `lines = ["9600 8N1"]`, and these tables:

- `[frame]`: `length`; `start` and `end`, bytes as on the wire, `[0x02]`; in their place `gap_ms`, when a frame begins
  after a pause of that length; `xor`, a mask that is repeated over the bytes `xor_from` to `xor_to`; `offset`, bytes
  that are added to them before, `offset_from` to `offset_to`; `parity` (odd even), the top bit of every byte
- `[checksum]`: `kind` (sum8 sum16 xor8 crc8 crc16), `at`, `from` and `to` (the bytes covered, as on the wire), `order`
  (big little), and `polynomial initial reflected final_xor negate`
- `[number]`: `digits` (ascii nibble bcd seven-segment integer wired wired-integer); `at = [2, 3, 4, 5]`, most
  significant first, or lists of bytes with their `masks` where a digit is spread; of an integer `signed`, `order` and
  `most`, above which it is no number; `overload`, the digits' text that means it; `unscaled_overload`, counts that
  mean it where the frame says `unscaled`; `leading_blanks`; `decimals` when they are always the same
- digits in any wiring have `bits` in place of `at`, the highest first, `~` before one that is inverted: of each digit,
  `[["2.2", "2.1", "3.3"], ...]`, or of the whole `wired-integer`, `["4.7", "4.6", ...]`
- `[number.segments]`: `"0x7D" = "0"`, the codes of seven-segment or wired digits and their character, a space for
  blank; `"2:0x7D"` is a code of the second digit alone
- `[[map]]`: `at`, `mask` or, for each byte, `masks`, `[map.values]` with `"18" = "dc m V"`, the words of each value;
  another value is no frame, or one that is refused where `unknown = "refused"`; where nobody has published what the
  values mean, `asked = ["count", "minus"]` in their place: the words that a person may tell, by the address option
  `told` (see `told.py`), and `question`, what to look at; until then frames are refused, and the question is asked
- `[bits]`: `"8.5" = "auto"`, the words of a bit that is set; `[bits_clear]`: of a bit that is clear
- `[[fixed]]`: `at`, `value`, `mask`: what is the same in every frame
- `[[unused]]`: `at`, `mask`: bits that are never set; a frame with one is refused
- `[[steady]]`: `at`, `value`, `mask`: bits that nobody has seen change; a frame in which they differ is refused
- `[second]`: a second display in the same frame, the second column: its `[second.number]`, `[[second.map]]`,
  `[second.bits]` and so on; where it is dark, or says what its maps lack, the first is read alone

`taught = true` is written by `meterlog meters --teach`: what is refused, and digits that are not known, then count as
something that was never taught. `verified_on` says when it was compared with the meter's display.
"""

from __future__ import annotations

from dataclasses import dataclass

from meterlog.transports import LineSettings
from meterlog_drivers.profiles.frame_parts import Check, DisplayProfile, Fixed
from meterlog_drivers.profiles.frame_tables import bytes_of, check_of, display_of, fixed_of, repeated_bytes
from meterlog_drivers.profiles.profile_file import Table
from meterlog_drivers.profiles.profile_lines import profile_lines

LONGEST_FRAME = 256
"""Bytes; far more than any framing here has. A bound for what a stranger's profile makes us keep, a choice."""
_MOST_GAP_MS = 10_000
"""The longest pause that may tell frames apart, ms; a meter that pauses longer would be taken for silent. A choice."""


@dataclass(frozen=True)
class FrameProfile:
    """A frames profile with its byte positions counted from 0."""

    about: str
    lines: tuple[LineSettings, ...]
    length: int
    start: bytes
    end: bytes
    gap_s: float
    xor: bytes
    offset: bytes
    parity: str
    check: Check | None
    displays: tuple[DisplayProfile, ...]
    fixed: tuple[Fixed, ...]
    taught: bool
    verified_on: str

    @property
    def columns(self) -> int:
        """The number of columns: of displays in one frame, or as many as its words name."""
        named = (int(word[6:]) for word in self.displays[0].words if word.startswith("column"))
        return max(len(self.displays), 1 + max(named, default=0))


def frame_profile(profile: Table) -> FrameProfile:
    """Check a frames profile and take it apart.

    Raises:
        ProfileError: something in it is wrong; with its line.
    """
    frame = profile.table("frame")
    length = frame.integer("length", None, 2, LONGEST_FRAME)
    start, end = bytes_of(frame, "start"), bytes_of(frame, "end")
    gap_ms = frame.integer("gap_ms", 0, 0, _MOST_GAP_MS)
    if len(start) + len(end) >= length:
        raise frame.error("start and end leave no bytes between them", "length")
    if gap_ms and (start or end):
        raise frame.error("give either gap_ms, or start and end", "gap_ms")
    mask = repeated_bytes(frame, "xor", length, len(start), len(end))
    offset = repeated_bytes(frame, "offset", length, len(start), len(end))
    parity = frame.text("parity", "", ("", "odd", "even"))
    frame.finish()
    check = check_of(profile.table("checksum"), length) if profile.has("checksum") else None
    fixed = tuple(fixed_of(t, length) for t in profile.tables("fixed"))
    if not (start or end or gap_ms or check or fixed):
        raise profile.error("nothing tells where a frame begins: give start, end, gap_ms, a checksum or fixed bytes")
    displays = [display_of(profile, length)]
    if profile.has("second"):
        second = profile.table("second")
        displays.append(display_of(second, length))
        second.finish()
        if any(one.asked for one in displays[1].maps):
            raise second.error("only the first display's [[map]] can be asked")
    result = FrameProfile(
        about=profile.text("about", ""),
        lines=profile_lines(profile),
        length=length,
        start=start,
        end=end,
        gap_s=gap_ms / 1000,
        xor=mask,
        offset=offset,
        parity=parity,
        check=check,
        displays=tuple(displays),
        fixed=fixed,
        taught=profile.yes("taught", False),
        verified_on=profile.text("verified_on", ""),
    )
    if len(displays) > 1 and any(word.startswith("column") for one in displays for word in one.words):
        raise profile.error("give either [second], or words that say which display a frame is of: column0, column1")
    profile.finish()
    return result
