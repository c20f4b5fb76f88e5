"""Holds what was learned from frames and moments."""

from __future__ import annotations

from dataclasses import dataclass, field

from meterlog_drivers.teach.digits.number_fit import Bits, NumberFit
from meterlog_drivers.teach.digits.offset_search import frame_bits
from meterlog_drivers.teach.framing.frame_finder import FramesFound
from meterlog_drivers.teach.modes.mode_fit import ModeFit
from meterlog_drivers.teach.moments import Moment


@dataclass(frozen=True)
class Lesson:
    """Holds what was learned.

    Attributes:
        found: the frames.
        moments: what was shown.
        numbers: the hypotheses about the digits; one where they are known.
        modes: what else a frame says; None where the digits are not known, or what was typed contradicts itself.
        frame_of: the frame of each moment; -1 where none was near, or none shows what was typed.
        late: how many displays late each moment was typed.
        slips: moments that no frame explains, and what the frames say in their place.
        overloads: the digits that mean overload.
        offset: what is added to every byte.
        taken: bits of the digits of the other display, which say nothing here.
        second: of the second display, by the same moments; None where nobody typed a second number.
        problem: why nothing, or not all, was learned; empty where all was.
    """

    found: FramesFound
    moments: tuple[Moment, ...]
    numbers: tuple[NumberFit, ...] = ()
    modes: ModeFit | None = None
    frame_of: tuple[int, ...] = ()
    late: dict[int, int] = field(default_factory=dict)
    slips: dict[int, str] = field(default_factory=dict)
    overloads: tuple[str, ...] = ()
    offset: int = 0
    taken: frozenset[int] = frozenset()
    second: Lesson | None = None
    problem: str = ""

    @property
    def learned(self) -> bool:
        """True where a profile can be written."""
        return len(self.numbers) == 1 and self.modes is not None and not self.problem

    @property
    def tells_overload(self) -> bool:
        """True where it is known what an overload looks like."""
        fields = self.modes.fields if self.modes else ()
        return bool(self.overloads) or any("overload" in one.says and "unit" not in one.says for one in fields)

    @property
    def unscaled_overloads(self) -> list[int]:
        """The counts that are an overload again where all else is as when one was shown, and nothing else ever was."""
        fields = self.modes.fields if self.modes else ()
        unscaled = [(one, m) for one in fields for m in one.values.values() if "unscaled" in m.words]
        if self.tells_overload or not unscaled or any("unit" not in one.says for one, _ in unscaled):
            return []
        bits = self.bits
        texts = [{self.numbers[0].text(bits[self.frame_of[n]]).strip() for n in m.moments} for _, m in unscaled]
        return sorted(int(text) for text in set.intersection(*texts) if text.isdecimal())

    def reads(self, frame: Bits) -> bool:
        """Tell whether all that a frame says was taught."""
        number = self.numbers[0]
        digits = number.reads(frame) or number.text(frame) in self.overloads
        return digits and self.modes is not None and self.modes.known(frame)

    @property
    def bits(self) -> Bits:
        """The bits of every frame, the offset taken off, and what the other display owns left dark."""
        bits = frame_bits(self.found, self.offset)
        bits[:, sorted(self.taken)] = False
        return bits
