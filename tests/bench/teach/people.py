"""The person at the meter: turns the dial as asked, as far as it goes, types a moment late, and makes a slip."""

from __future__ import annotations

import random
from dataclasses import dataclass, field

from meterlog.transports import Chunk
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.question import Question
from tests.bench.teach.meters import FUNCTIONS, SIGNED, Display, Meter

STANDS = 8
"""Displays for which a person holds something to the leads."""
LOST, FLIPPED = 0.02, 0.01
"""Shares of the frames that never come, and that come with a flipped bit."""


@dataclass
class Person:
    """A person and a meter.

    Attributes:
        chunks: what came so far.
        moments: what was typed so far.
        shown: what was on the display at those.
        slips: the moments that were typed wrongly.
        late: how many displays ago the last one was read.
    """

    meter: Meter
    rng: random.Random
    slip_at: int
    chunks: list[Chunk] = field(default_factory=list)
    moments: list[Moment] = field(default_factory=list)
    shown: list[Display] = field(default_factory=list)
    slips: list[int] = field(default_factory=list)
    late: int = 0
    now_s: float = 100.0
    last: Display | None = None

    def answer(self, question: Question) -> bool:
        """Do what was asked and type what the display shows; False where this meter cannot do it."""
        display = self._setting(question)
        if display is None:
            return False
        stands = self.rng.random() < 0.5
        shown = []
        for _ in range(STANDS):
            counts = display.counts if stands else max(0, display.counts + self.rng.randint(-1, 1))
            shown.append(display._replace(counts=min(counts, self.meter.most)))
            self._send(shown[-1])
        self.late = self.rng.choice((0, 0, 1, 1, 2))
        read = shown[-1 - self.late]
        text = read.text
        if len(self.moments) == self.slip_at:
            text = self._slip(read)
            self.slips.append(len(self.moments))
        self.moments.append(Moment(self.now_s - self.meter.interval_s + 0.05, parse_label(text)))
        self.shown.append(read)
        self.last = display
        return True

    def _send(self, display: Display) -> None:
        frame = bytearray(self.meter.frame(display, self.rng.randrange(256)))
        chance = self.rng.random()
        if chance > LOST:
            if chance > 1 - FLIPPED:
                frame[self.rng.randrange(len(frame))] ^= 1 << self.rng.randrange(8)
            self.chunks.append(Chunk(bytes(frame), self.now_s + self.rng.uniform(0, 0.02)))
        self.now_s += self.meter.interval_s

    def _setting(self, question: Question) -> Display | None:
        quantity = {
            "dc_voltage": ("V", "mV"),
            "ac_voltage": ("VAC",),
            "resistance": ("ohm",),
            "dc_current": ("A", "mA"),
            "frequency": ("Hz",),
            "temperature": ("degC",),
        }
        here = [f for f in quantity.get(str(question.quantity), ()) if f in self.meter.functions]
        if question.quantity is not None and not here:
            return None
        if question.name.startswith("now") and self.last is not None:
            return self.last
        if not here:
            here = [self.last.function] if self.last else ["V"]
        function = self.rng.choice(here)
        if question.minus and function not in SIGNED:
            return None
        if question.overload and function != "ohm":
            return None
        place = self.rng.randrange(len(FUNCTIONS[function]))
        if question.like is not None:
            unit = question.like.text.lstrip("-+0123456789. OL").removesuffix(" hold")
            alike = [(f, n) for f in here for n, (u, _) in enumerate(FUNCTIONS[f]) if u == unit]
            alike = [c for c in alike if question.like.overload or FUNCTIONS[c[0]][c[1]][1] == question.like.decimals]
            if not alike:
                return None
            function, place = self.rng.choice(alike)
        if question.like is not None and question.minus and function not in SIGNED:
            return None
        if question.overload and function == "ohm":
            return Display(function, len(FUNCTIONS[function]) - 1, 0, overload=True)
        counts = self.meter.most - self.rng.randrange(50) if question.high else self.rng.randrange(self.meter.most)
        if question.low:
            counts = self.rng.randrange(self.meter.most // 100)
        if question.digit is not None:
            text = [*f"{counts:0{self.meter.places}d}"]
            text[-2 if question.place is None else -1 - question.place] = str(question.digit)
            counts = int("".join(text))
            if counts > self.meter.most:
                return None
        if function == "degC":
            counts = min(counts, 2500)
        return Display(function, place, counts, question.minus and counts > 0)

    def _slip(self, display: Display) -> str:
        """A digit beside the right one, two digits exchanged, a minus forgotten, or another point."""
        text = display.text
        digits = [n for n, c in enumerate(text) if c.isdigit()]
        if display.minus and self.rng.random() < 0.3:
            return text[1:]
        if not digits:
            return text
        at = self.rng.choice(digits)
        wrong = str((int(text[at]) + self.rng.choice((1, 9))) % 10)
        return text[:at] + wrong + text[at + 1 :]
