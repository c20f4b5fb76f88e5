"""Teaches meters that nobody has seen and says what came of it: `python -m tests.bench.teach [meters] [first seed]`.

Each meter is taught by the product's own questions, fifteen at the most, by a person who types up to two displays late
and, at every second meter, makes one slip; 2 % of the frames are lost and 1 % have a flipped bit. Then it is shown
clean frames: 400 of what was taught (function and range; any number, either sign), and 400 of all that it can show.
Learned whole: all of the former are read right. A wrong reading is one that differs from the display.
"""

from __future__ import annotations

import math
import random
import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

from meterlog_drivers.teach.teacher import Taught
from tests.bench.results import printed
from tests.bench.teach.lessons import QUANTITIES, SHOWN, asked, decoder_of, same_value
from tests.bench.teach.meters import FUNCTIONS, SIGNED, Display, Meter
from tests.bench.teach.people import Person


@dataclass
class Score:
    """Holds what came of one meter."""

    meter: Meter
    questions: int
    learned: bool
    taught_read: int
    taught_all: int
    all_read: int
    all_shown: int
    wrong: int
    slip: str
    problem: str


def lesson(seed: int) -> tuple[Person, Taught | None, int]:
    """Teach one meter; the person, what was learned, and how many questions were answered."""
    rng = random.Random(seed * 7919 + 1)
    person = Person(Meter(seed), rng, rng.randrange(3, 12) if seed % 2 else -1)
    return person, *asked(person)


def judged(seed: int) -> Score:
    """Teach one meter and show it clean frames."""
    person, taught, questions = lesson(seed)
    meter, rng = person.meter, random.Random(seed + 5)
    combos = {(d.function, d.range) for n, d in enumerate(person.shown) if n not in person.slips and not d.overload}
    minus_shown = any(d.minus for n, d in enumerate(person.shown) if n not in person.slips)
    slip = ""
    if person.slips and taught:
        slip = "named" if person.slips[0] in taught.slips else "unnoticed"
    if taught is None or not taught.profile:
        return Score(meter, questions, False, 0, SHOWN, 0, SHOWN, 0, slip, taught.problem if taught else "nothing")
    known = [_random(meter, rng, combos, minus=minus_shown) for _ in range(SHOWN)]
    every = {(f, n) for f in meter.functions for n in range(len(FUNCTIONS[f]))}
    others = [_random(meter, rng, every, minus=True, more=True) for _ in range(SHOWN)]
    read_known, wrong_known = _read(meter, taught.profile, known)
    read_all, wrong_all = _read(meter, taught.profile, others)
    return Score(
        meter, questions, read_known == SHOWN, read_known, SHOWN, read_all, SHOWN, wrong_known + wrong_all, slip, ""
    )


def _random(
    meter: Meter, rng: random.Random, combos: set[tuple[str, int]], *, minus: bool, more: bool = False
) -> Display:
    function, place = rng.choice(sorted(combos))
    counts = rng.randrange(2500 if function == "degC" else meter.most)  # no display shows less than absolute zero
    negative = minus and counts > 0 and function in SIGNED and rng.random() < 0.3
    if more and rng.random() < 0.1:
        return Display(function, place, 0, overload=True)
    return Display(function, place, counts, negative, hold=more and rng.random() < 0.1)


def _read(meter: Meter, profile: str, displays: list[Display]) -> tuple[int, int]:
    """Return how many displays a profile reads right and wrong."""
    right = wrong = 0
    with decoder_of(profile) as decoder:
        decoder.feed(meter.frame(displays[0]), 0.0)  # where pauses tell frames apart, the first is not read
        for n, display in enumerate(displays, 1):
            for got in decoder.feed(meter.frame(display, n), n * 0.5):
                value_right = math.isinf(got.value) if display.overload else same_value(got.value, display.value)
                if value_right and got.quantity == QUANTITIES[display.function]:
                    right += 1
                else:
                    wrong += 1
    return right, wrong


def main(argv: list[str]) -> int:
    """Run the bench."""
    count = int(argv[0]) if argv else 60
    first = int(argv[1]) if len(argv) > 1 else 1000
    with ProcessPoolExecutor(2) as pool:
        scores = list(pool.map(judged, range(first, first + count)))
    whole = sum(score.learned for score in scores)
    wrong = sum(score.wrong for score in scores)
    print("| figure | goal | measured |\n|---|---|---|")
    print(f"| meters learned whole, of {count}, seeds {first}.. | 95 % | {100 * whole / count:.1f} % |")
    print(
        f"| questions asked, median and most | 15 | {statistics.median(s.questions for s in scores):g}, "
        f"{max(s.questions for s in scores)} |"
    )
    print(f"| wrong readings, of {2 * SHOWN * count} shown | 0 | {wrong} |")
    taught = sum(s.taught_read for s in scores) / sum(s.taught_all for s in scores)
    everything = sum(s.all_read for s in scores) / sum(s.all_shown for s in scores)
    print(f"| readings of what was taught that are read | | {100 * taught:.1f} % |")
    print(f"| readings of all the meter can show that are read | | {100 * everything:.1f} % |")
    slips = [s.slip for s in scores if s.slip]
    print(f"| slips of the keyboard that were named, of {len(slips)} | | {slips.count('named')} |")
    print("\nNot learned whole:\n")
    for seed, score in enumerate(scores, first):
        if not score.learned or score.wrong:
            print(
                f"- {seed}: {score.meter.described}: {score.questions} questions, taught {score.taught_read}/{SHOWN},"
                f" all {score.all_read}/{SHOWN}, wrong {score.wrong}, slip {score.slip}, {score.problem}",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    with printed("Teaching", markdown=True):
        main(sys.argv[1:])
