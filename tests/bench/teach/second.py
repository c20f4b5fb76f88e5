"""Teaches meters with two numbers on their display: `python -m tests.bench.teach.second [meters] [first seed]`.

Each is a meter of `meters.py` with a second display of its own making: another encoding, volts with hertz, temperature
twice, AC with DC, in the same frame. The person types both numbers, one time in ten only the main one, and makes slips
in either. Then clean frames are shown: 400 of what was taught (function, both ranges; any numbers), and 400 of all that
the meter can show. A wrong reading is one that differs from the display it is read from, or of one that is dark.
"""

from __future__ import annotations

import random
import statistics
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from typing import NamedTuple

from meterlog_drivers.teach.teacher import Taught
from tests.bench.results import printed
from tests.bench.teach.lessons import QUANTITIES, SHOWN, asked, decoder_of, same_value
from tests.bench.teach.meters import FUNCTIONS, SIGNED, Display
from tests.bench.teach.two_displays import PAIRS, Both, PersonAtTwo, TwoDisplayMeter


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
    """Teach one meter; the person, what was learned, and how many questions were answered."""
    rng = random.Random(seed * 7919 + 3)
    person = PersonAtTwo(TwoDisplayMeter(seed), rng, rng.randrange(3, 12) if seed % 2 else -1)
    return person, *asked(person)


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
    with decoder_of(profile) as decoder:
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
                right = same_value(got[column].value, value) and got[column].quantity == quantity
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
    answered = [score.questions for score in scores]
    print(f"| questions asked, median and most | 15 | {statistics.median(answered):g}, {max(answered)} |")
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
