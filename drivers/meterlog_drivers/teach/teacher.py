"""Learns from bytes and moments, whether frames or text, and proves what it wrote before anyone uses it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from meterlog.text.figures import count
from meterlog.transports import Chunk
from meterlog_drivers.frames import Frames
from meterlog_drivers.teach.framing.frame_finder import find_frames
from meterlog_drivers.teach.learning import learn
from meterlog_drivers.teach.lesson import Lesson
from meterlog_drivers.teach.line_lesson import find_lines, learn_lines
from meterlog_drivers.teach.moments import Moment
from meterlog_drivers.teach.profile_text import line_profile_text, profile_text
from meterlog_drivers.teach.proof import Proof, Wanted, prove
from meterlog_drivers.teach.second_display import NOT_FOUND
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
        second: what is to say of the second number on the display; empty where nobody typed one.
        frames: whole frames or lines that the profile met in the same bytes.
        read: those of them that it reads; the others show what was never taught.
    """

    profile: str
    described: str
    lesson: Lesson | None
    slips: dict[int, str]
    late: dict[int, int]
    problem: str
    second: str = ""
    frames: int = 0
    read: int = 0

    @property
    def second_slips(self) -> dict[int, str]:
        """The second numbers that were left out, with the reason."""
        return self.lesson.second.slips if self.lesson and self.lesson.second else {}

    @property
    def unread_bits(self) -> int:
        """Count the bits that changed while the display said the same, and are not read."""
        silent = self.lesson.modes.silent if self.lesson and self.lesson.modes else frozenset()
        return len(silent)


TEXT_SECOND = "the second number is not read: of a line of text only the first one is learned"
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
            wanted = [Wanted(n, moments[n]) for n in told.used]
            unread = TEXT_SECOND if any(moment.label.second for moment in moments) else ""
            taught = Taught(profile, described, None, told.slips, {}, "", unread)
            return _proved(taught, prove(profile, wanted, chunks, byte_time_s, Text()))
    found = find_frames(chunks, byte_time_s)
    if found is None:
        problem = told.problem if texts else NOTHING_FOUND
        return Taught("", described if texts else f"{sum(len(c.data) for c in chunks)} bytes", None, {}, {}, problem)
    lesson = learn(found, moments)
    result = Taught("", found.described, lesson, lesson.slips, lesson.late, lesson.problem)
    if not lesson.learned:
        return result
    wanted, second = _sure(lesson), lesson.second
    if second is not None and second.learned:
        profile = profile_text(lesson, lines, taught_on)
        proof = prove(profile, [*wanted, *_sure(second, 1)], chunks, byte_time_s, Frames())
        if not proof.problem:
            return _proved(replace(result, profile=profile, second=_said_of(second)), proof)
        second = replace(second, modes=None, problem=proof.problem)
        lesson = replace(lesson, second=second)
    profile = profile_text(lesson, lines, taught_on)
    taught = replace(result, profile=profile, lesson=lesson, second=_said_of(second))
    return _proved(taught, prove(profile, wanted, chunks, byte_time_s, Frames()))


def _sure(lesson: Lesson, column: int = 0) -> list[Wanted]:
    """The moments that a profile must give back: that are no slips, and show what it can say."""
    assert lesson.modes is not None
    bits = lesson.bits
    return [
        Wanted(n, lesson.moments[n], column)
        for n, at in enumerate(lesson.frame_of)
        if n in lesson.modes.moments
        and n not in lesson.slips
        and (lesson.tells_overload or not lesson.moments[n].label.overload)
        and lesson.reads(bits[at])
    ]


def _proved(taught: Taught, proof: Proof) -> Taught:
    profile = "" if proof.problem else taught.profile
    return replace(taught, profile=profile, problem=proof.problem, frames=proof.frames, read=proof.read)


def _said_of(second: Lesson | None) -> str:
    """Return what is to say of the second display; empty where nobody typed a number of it."""
    if second is None:
        return ""
    if second.learned:
        return f"the second number is read too, as it was typed {count(len(_sure(second)), 'time')}"
    return f"the second number is not read: {second.problem or NOT_FOUND}"
