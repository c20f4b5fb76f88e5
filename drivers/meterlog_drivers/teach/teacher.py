"""Learns from bytes and moments, whether frames or text, and proves what it wrote before anyone uses it."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from meterlog.address import Address
from meterlog.driver.framing import FramingDriver
from meterlog.errors import ProfileError
from meterlog.reading import Reading
from meterlog.transports import Chunk
from meterlog_drivers.display.shown import Shown
from meterlog_drivers.frames import Frames
from meterlog_drivers.teach.framing.frame_finder import find_frames
from meterlog_drivers.teach.learning import learn
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.line_lesson import find_lines, learn_lines
from meterlog_drivers.teach.moments import Moment
from meterlog_drivers.teach.profile_text import line_profile_text, profile_text
from meterlog_drivers.text import Text


@dataclass(frozen=True)
class Taught:
    """Holds what is known after some moments.

    Attributes:
        profile: in TOML; empty where it cannot be written yet.
        described: what kind of bytes come.
        lesson: of frames; None for text, or where no frames were found.
        slips: moments that were left out, with the reason.
        late: how many displays late moments were typed.
        problem: why there is no profile; empty where there is one.
        frames: whole frames or lines that the profile met in the same bytes.
        read: those of them that it reads; the others show what was never taught.
    """

    profile: str
    described: str
    lesson: Lesson | None
    slips: dict[int, str]
    late: dict[int, int]
    problem: str
    frames: int = 0
    read: int = 0


NOTHING_FOUND = "the bytes have no frames that could be found: too few, or wrong line settings"


def teach(
    chunks: Sequence[Chunk], byte_time_s: float, moments: Sequence[Moment], lines: Sequence[str], taught_on: str
) -> Taught:
    """Learn from what came and what was shown.

    Args:
        chunks: the bytes.
        byte_time_s: of a byte on the wire, s; 0 where it has none.
        moments: on the clock of the chunks.
        lines: the line settings under which they came, for the profile.
        taught_on: the date.
    """
    texts = find_lines(chunks, byte_time_s)
    if texts:
        told = learn_lines(texts, moments)
        described = f"{len(texts)} lines of text, such as {texts[-1].text!r}"
        if not told.problem:
            profile = line_profile_text(told, moments, lines, taught_on)
            good = {n: moments[n] for n in told.used}
            return _proved(Taught(profile, described, None, told.slips, {}, ""), good, chunks, byte_time_s, Text())
    found = find_frames(chunks, byte_time_s)
    if found is None:
        problem = told.problem if texts else NOTHING_FOUND
        return Taught("", described if texts else f"{sum(len(c.data) for c in chunks)} bytes", None, {}, {}, problem)
    lesson = learn(found, moments)
    result = Taught("", found.described, lesson, lesson.slips, lesson.late, lesson.problem)
    if not lesson.learned or lesson.problem:
        return result
    bits = lesson.bits
    good = {
        n: moments[n]
        for n, at in enumerate(lesson.frame_of)
        if at >= 0
        and n not in lesson.slips
        and (lesson.tells_overload or not moments[n].label.overload)
        and (lesson.numbers[0].regular or lesson.reads(bits[at]))
    }
    written = replace(result, profile=profile_text(lesson, lines, taught_on))
    return _proved(written, good, chunks, byte_time_s, Frames())


def _proved(
    taught: Taught, good: dict[int, Moment], chunks: Sequence[Chunk], byte_time_s: float, driver: FramingDriver
) -> Taught:
    """Decode the same bytes with the profile that was written: each moment must come out as it was typed."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "taught.toml"
        path.write_text(taught.profile, encoding="utf-8")
        address = Address(driver.name, "x", {"profile": str(path)})
        try:
            decoder = driver.decoder(address, byte_time_s)
        except ProfileError as error:
            reason = str(error).replace(str(path), "the profile")
            return replace(taught, profile="", problem=f"what was learned cannot be written as a profile: {reason}")
        readings = [reading for chunk in chunks for reading in decoder.feed(chunk.data, chunk.arrival_s)]
    traffic = decoder.traffic
    wrong = [n for n, moment in good.items() if not _came(readings, moment)]
    result = replace(taught, frames=traffic.frames_good + traffic.frames_refused, read=traffic.frames_good)
    if wrong:
        said = ", ".join(f"{n + 1} ({good[n].label.text})" for n in wrong)
        return replace(result, profile="", problem=f"what was learned does not give back reading {said}: show others")
    return result


LATEST_S = 5.0
"""Says how long before it was typed a display may have been read, s; as much as three displays of a slow meter."""


def _came(readings: Sequence[Reading], moment: Moment) -> bool:
    """Tell whether a reading near a moment is what was typed."""
    near = (r for r in readings if -1.0 < moment.time_s - r.time_s < LATEST_S)
    return any(moment.label.shows(Shown(r.value, r.quantity, r.resolution, r.flags, r.column)) for r in near)
