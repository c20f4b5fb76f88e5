"""Measures how often `trends` keeps its word, over made-up histories: `python -m tests.bench.trends [HISTORIES]`."""

from __future__ import annotations

import sys
from typing import NamedTuple

import numpy as np

from meterlog.trends.change import best_change
from tests.bench.results import printed
from tests.trends.conftest import history, seconds_of

HISTORIES, SEED = 400, 2026
DAYS_WITHOUT = 10, 12, 15, 20, 40, 100
DAYS_WITH = 12, 20, 50
FOLLOWS = 0.0, 0.4
"""By how much a day resembles the one before."""
_ALARM = 0.05
"""The chance of a false alarm that is put to the test."""
_PER_DEGREE_V = -0.02


class Kept(NamedTuple):
    """Counts what held the truth."""

    found: int
    placed: int
    sized: int


def main(argv: list[str]) -> int:
    """Print the tables."""
    histories = int(argv[0]) if argv else HISTORIES
    with printed("Trends", markdown=True):
        print(f"{histories} histories without a change, temperature and all; alarms at a stated {_ALARM:.0%}.\n")
        print("| days | independent | each day resembles the one before by 0.4 |")
        print("|---|---|---|")
        for days in DAYS_WITHOUT:
            shares = [_alarms(days, follows, histories) / histories for follows in FOLLOWS]
            print(f"| {days} | {shares[0]:.1%} | {shares[1]:.1%} |", flush=True)
        print(f"\n{histories} changes of 5 to 9 times a day's noise; of those found (a chance under {_ALARM:.0%}), the")
        print("place and the amount that lie within what is stated, which should be 95 %.\n")
        print("| shape | days | found | place | amount |")
        print("|---|---|---|---|---|")
        for shape in ("step", "slope"):
            for days in DAYS_WITH:
                kept = _kept(shape, days, histories)
                shares = [kept.placed / kept.found, kept.sized / kept.found]
                print(f"| {shape} | {days} | {kept.found} | {shares[0]:.1%} | {shares[1]:.1%} |", flush=True)
    return 0


def _alarms(days: int, follows: float, histories: int) -> int:
    random = np.random.default_rng((SEED, days, int(10 * follows)))
    made = (history(random, days, per_degree_v=_PER_DEGREE_V, follows=follows).days() for _ in range(histories))
    return sum((change := best_change(one)) is not None and change.chance <= _ALARM for one in made)


def _kept(shape: str, days: int, histories: int) -> Kept:
    random = np.random.default_rng((SEED, days, shape == "step"))
    found = placed = sized = 0
    for _ in range(histories):
        at_day, amount = random.uniform(80, 250), random.uniform(-0.9, -0.5)
        step_v, slope_v = (amount, 0.0) if shape == "step" else (0.0, amount)
        made = history(random, days, step_v=step_v, slope_v=slope_v, at_day=at_day, per_degree_v=_PER_DEGREE_V)
        change = best_change(made.days())
        if change is None or change.chance > _ALARM:
            continue
        last_s, at_s = made.points[-1].started_at.timestamp(), seconds_of(at_day)
        whole = amount * ((last_s - at_s) / (seconds_of(365) - at_s) if shape == "slope" else 1.0)
        found += 1
        placed += (change.after_s or 0.0) <= at_s <= change.before_s
        sized += abs(change.amount - whole) <= change.error
    return Kept(found, placed, sized)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
