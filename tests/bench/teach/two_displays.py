"""Makes meters with two numbers on their display, and the person who types both."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace

from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.question import Question
from tests.bench.teach.meters import SEGMENTS, Display, Meter
from tests.bench.teach.people import Person

PAIRS = {
    "VAC": ("Hz", "frequency", (1, 2)),
    "V": ("V AC", "ac_voltage", (2, 3)),
    "mV": ("V AC", "ac_voltage", (3,)),
    "A": ("A AC", "ac_current", (2, 3)),
    "mA": ("A AC", "ac_current", (3,)),
    "degC": ("degC", "temperature", (1,)),
    "Hz": ("%", "duty_cycle", (1,)),
}
"""Says what the second display shows beside a function: unit, quantity, decimals of its ranges; ohms have none."""
ONLY_MAIN = 0.1
"""The share of answers in which a person types the main number alone."""


class SecondNumber:
    """The second display's bytes: digits in an encoding of its own, unit and point beside them; dark without a unit."""

    def __init__(self, seed: int) -> None:
        self.rng = rng = random.Random(seed * 31 + 17)
        self.kind = rng.choice(("ascii", "nibble", "bcd", "segments", "int16-big", "int16-little"))
        self.wiring = rng.sample(range(7), 7)
        self.units = dict(zip(("", "Hz", "V AC", "A AC", "degC", "%"), rng.sample(range(256), 6), strict=True))
        self.points = rng.sample(range(16), 4)
        self.minus = 1 << rng.randrange(4, 8)
        self.unit_told = rng.random() < 0.6
        self.front = rng.random() < 0.5

    def bytes_of(self, unit: str, decimals: int, counts: int, minus: bool) -> list[int]:
        """The bytes of a number; `unit` is empty where the display is dark."""
        text = f"{counts:04d}" if unit else "    "
        if self.kind.startswith("int"):
            data = list((counts if unit else 0).to_bytes(2, "big" if self.kind == "int16-big" else "little"))
        elif self.kind == "ascii":
            data = [ord(c) for c in text]
        elif self.kind == "segments":
            data = [
                sum(1 << self.wiring["abcdefg".index(s)] for s in (SEGMENTS[int(c)] if c != " " else "")) for c in text
            ]
        else:
            nibbles = [15 if c == " " else int(c) for c in text]
            data = nibbles if self.kind == "nibble" else [nibbles[0] << 4 | nibbles[1], nibbles[2] << 4 | nibbles[3]]
        beside = [self.points[decimals] | (self.minus if minus else 0)]
        return data + beside + ([self.units[unit]] if self.unit_told else [])


@dataclass(frozen=True)
class Both:
    """Holds what both displays show."""

    main: Display
    decimals: int
    counts: int
    minus: bool

    @property
    def unit(self) -> str:
        """Of the second display; empty where it is dark."""
        return PAIRS[self.main.function][0] if self.main.function in PAIRS else ""

    @property
    def quantity(self) -> str:
        """Of the second display."""
        return PAIRS[self.main.function][1]

    @property
    def value(self) -> float:
        """Of the second display."""
        return float(f"{'-' * self.minus}{self.counts}e-{self.decimals}")

    @property
    def text(self) -> str:
        """The second number as a person types it."""
        digits = f"{self.counts:0{self.decimals + 1}d}"
        return f"{'-' * self.minus}{digits[: -self.decimals]}.{digits[-self.decimals :]} {self.unit}"


@dataclass
class TwoDisplayMeter(Meter):
    """A meter whose frames bear a second number behind, or in front of, the first one's bytes."""

    second: SecondNumber = field(init=False)
    beside: Both | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self.second = SecondNumber(self.seed)

    def chosen(self, display: Display, rng: random.Random) -> Both:
        """A second number beside a display."""
        _, _, decimals = PAIRS.get(display.function, ("", "", (1,)))
        minus = display.function == "degC" and rng.random() < 0.2
        # no meter shows 300 %, or less than absolute zero
        most = {"degC": 2500, "Hz": 1000}.get(display.function, 9999)
        return Both(display, rng.choice(decimals), rng.randrange(1, most), minus)

    def shows(self, display: Display) -> list[int]:
        """The main number's bytes, and the second's."""
        main, two = super().shows(display), self.beside
        assert two is not None
        second = self.second.bytes_of(two.unit, two.decimals, two.counts, two.minus)
        return second + main if self.second.front else main + second


@dataclass
class PersonAtTwo(Person):
    """A person who types both numbers, as late as the first one; now and then one of them wrongly, or not at all."""

    sent: list[Both] = field(default_factory=list)
    stood: list[Both] = field(default_factory=list)
    read: list[Both | None] = field(default_factory=list)
    wrong_second: list[int] = field(default_factory=list)
    beside: Both | None = None

    def answer(self, question: Question) -> bool:
        """Do what was asked, and type what both displays show."""
        self.beside = None
        if not super().answer(question):
            return False
        both, n = self.sent[-1 - self.late], len(self.moments) - 1
        typed = bool(both.unit) and self.rng.random() >= ONLY_MAIN
        self.stood.append(both)
        self.read.append(both if typed else None)
        if typed:
            text = both.text
            if self.meter.seed % 3 == 0 and n == 6:
                self.wrong_second.append(n)
                text = text[: -len(both.unit) - 2] + str((int(text[-len(both.unit) - 2]) + 1) % 10) + f" {both.unit}"
            label = self.moments[n].label._replace(second=parse_label(text))
            self.moments[n] = Moment(self.moments[n].time_s, label)
        return True

    def _send(self, display: Display) -> None:
        meter = self.meter
        assert isinstance(meter, TwoDisplayMeter)
        if self.beside is None:
            self.beside, self.flickers = meter.chosen(display, self.rng), self.rng.random() < 0.5
        if self.flickers:
            self.beside = replace(self.beside, counts=max(1, self.beside.counts + self.rng.randint(-1, 1)))
        meter.beside = self.beside = replace(self.beside, main=display)
        self.sent.append(self.beside)
        super()._send(display)

    flickers: bool = False
