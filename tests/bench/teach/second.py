"""Teaches meters with two numbers on their display: `python -m tests.bench.teach.second [meters] [first seed]`.

Each is a meter of `meters.py` with a second display of its own making: another encoding, volts with hertz, temperature
twice, AC with DC, in the same frame. The person types both numbers, one time in ten only the main one, and makes slips
in either. Then clean frames are shown: 400 of what was taught (function, both ranges; any numbers), and 400 of all that
the meter can show. A wrong reading is one that differs from the display it is read from, or of one that is dark.
"""

from __future__ import annotations

import math
import random
import statistics
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

from meterlog.driver.framing import framing_of
from meterlog_drivers.teach.moments import Moment, parse_label
from meterlog_drivers.teach.questions.next_question import next_question
from meterlog_drivers.teach.questions.question import Question
from meterlog_drivers.teach.teacher import Taught, teach
from tests.bench.results import printed
from tests.bench.teach.__main__ import QUANTITIES
from tests.bench.teach.meters import FUNCTIONS, SEGMENTS, SIGNED, Display, Meter
from tests.bench.teach.people import Person

MOST_QUESTIONS, SHOWN = 15, 400
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
        most = {"degC": 2500, "Hz": 1000}.get(
            display.function, 9999
        )  # no meter shows 300 %, or less than absolute zero
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


class Score(NamedTuple):
    """Holds what came of one meter: shares are (read right, shown)."""

    seed: int
    questions: int
    main: tuple[int, int]
    second: tuple[int, int]
    everything: tuple[int, int]
    wrong: int
    said: str


def lesson(seed: int) -> tuple[PersonAtTwo, Taught | None, int]:
    """Teach one meter."""
    rng = random.Random(seed * 7919 + 3)
    person = PersonAtTwo(TwoDisplayMeter(seed), rng, rng.randrange(3, 12) if seed % 2 else -1)
    refused: set[str] = set()
    taught: Taught | None = None
    questions = 0
    while questions < MOST_QUESTIONS:
        question = next_question(taught.lesson if taught else None, refused, questions)
        if question is None:
            break
        refused.add(question.name)
        if person.answer(question):
            questions += 1
            taught = teach(person.chunks, 0.0, person.moments, ["9600 8N1"], "2026-01-01")
    return person, taught, questions


def judged(seed: int) -> Score:
    """Teach one meter and show it clean frames."""
    person, taught, questions = lesson(seed)
    meter, rng = person.meter, random.Random(seed + 5)
    assert isinstance(meter, TwoDisplayMeter)
    if taught is None or not taught.profile:
        why = taught.problem if taught else "nothing was shown"
        return Score(seed, questions, (0, SHOWN), (0, SHOWN), (0, SHOWN), 0, why)
    sure = [n for n in range(len(person.shown)) if n not in person.slips and not person.shown[n].overload]
    places = {(*at(person.stood[n]), person.stood[n].decimals) for n in sure}
    beside = {(*at(both), both.decimals) for n in sure if (both := person.read[n]) and n not in person.wrong_second}
    minus = any(person.shown[n].minus for n in sure)
    known = [_random(meter, rng, sorted(places), minus=minus) for _ in range(SHOWN)]
    every = [
        (f, n, d) for f in meter.functions for n in range(len(FUNCTIONS[f])) for d in PAIRS.get(f, ("", "", (1,)))[2]
    ]
    others = [_random(meter, rng, every, minus=True) for _ in range(SHOWN)]
    main, second, wrong = _read(meter, taught.profile, known, beside)
    everything, _, wrong_others = _read(meter, taught.profile, others, set())
    return Score(seed, questions, main, second, everything, wrong + wrong_others, taught.second)


def at(both: Both) -> tuple[str, int]:
    """The place of the dial, and the range."""
    return both.main.function, both.main.range


def _random(meter: TwoDisplayMeter, rng: random.Random, places: list[tuple[str, int, int]], *, minus: bool) -> Both:
    function, place, decimals = rng.choice(places)
    counts = rng.randrange(2500 if function == "degC" else meter.most)
    negative = minus and counts > 0 and function in SIGNED and rng.random() < 0.3
    both = replace(meter.chosen(Display(function, place, counts, negative), rng), decimals=decimals)
    return both if minus else replace(both, minus=False)


def _read(
    meter: TwoDisplayMeter, profile: str, shown: list[Both], beside: set[tuple[str, int, int]]
) -> tuple[tuple[int, int], tuple[int, int], int]:
    """Return how many main numbers, and second ones of those that were taught, are read; and how many wrongly."""
    main = second = second_taught = wrong = 0
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "taught.toml"
        path.write_text(profile)
        decoder = framing_of(f"frames:x?profile={path}").decoder()
        for n, both in enumerate([shown[0], *shown]):
            meter.beside = both
            got = {reading.column: reading for reading in decoder.feed(meter.frame(both.main, n), n * 0.5)}
            if n == 0:
                continue  # where pauses tell frames apart, the first is not read
            taught = (*at(both), both.decimals) in beside and not both.minus
            second_taught += taught
            for column, value, quantity in _wanted(both):
                if column not in got:
                    continue
                right = math.isclose(got[column].value, value, rel_tol=1e-9, abs_tol=1e-15)
                right &= got[column].quantity == quantity
                wrong += not right
                main += right and column == 0
                second += right and column == 1 and taught
            wrong += 1 in got and not both.unit
    return (main, len(shown)), (second, second_taught), wrong


def _wanted(both: Both) -> list[tuple[int, float, str]]:
    wanted = [(0, both.main.value, QUANTITIES[both.main.function])]
    return [*wanted, (1, both.value, both.quantity)] if both.unit else wanted


def main(argv: list[str]) -> int:
    """Run the bench."""
    count = int(argv[0]) if argv else 30
    first = int(argv[1]) if len(argv) > 1 else 7000
    with ProcessPoolExecutor(1) as pool:
        scores = list(pool.map(judged, range(first, first + count)))
    print("| figure | goal | measured |\n|---|---|---|")
    whole = sum(score.main[0] == score.main[1] for score in scores)
    print(f"| main number learned whole, of {count} meters, seeds {first}.. | 95 % | {100 * whole / count:.1f} % |")
    whole = sum(0 < score.second[1] == score.second[0] for score in scores)
    some = sum(score.second[1] > 0 for score in scores)
    print(f"| second number learned whole, of {some} meters that showed one | | {100 * whole / max(1, some):.1f} % |")
    for name, shares in (
        ("main numbers of what was taught that are read", [s.main for s in scores]),
        ("second numbers of what was taught that are read", [s.second for s in scores]),
        ("main numbers of all the meter can show that are read", [s.everything for s in scores]),
    ):
        read, all_ = (sum(share[n] for share in shares) for n in range(2))
        print(f"| {name} | | {100 * read / max(1, all_):.1f} % |")
    asked = [score.questions for score in scores]
    print(f"| questions asked, median and most | 15 | {statistics.median(asked):g}, {max(asked)} |")
    print(f"| wrong readings, of {2 * SHOWN * count} frames shown | 0 | {sum(s.wrong for s in scores)} |")
    print("\nNot learned whole:\n")
    for score in scores:
        if score.main[0] < score.main[1] or score.second[0] < score.second[1] or score.wrong:
            meter = TwoDisplayMeter(score.seed)
            print(
                f"- {score.seed}: {meter.described}; second {meter.second.kind}: main {score.main}, second"
                f" {score.second}, wrong {score.wrong}, {score.said}"
            )
    return 0


if __name__ == "__main__":
    with printed("Teaching two displays", markdown=True):
        main(sys.argv[1:])
