"""Measures how often another sound curve leaves the band of many: `python -m tests.bench.many_curves [FLEETS]`."""

from __future__ import annotations

import sys

import numpy as np

from meterlog.comparing.many_curves import many_curves
from meterlog.signal.tolerance import SHARE, rank_confidence
from tests.bench.results import printed
from tests.comparing.test_many_curves import ERROR, Draw, even, skewed

FLEETS, SEED, OTHERS = 300, 20261, 400
CAPTURES = 10, 30, 100, 300
_MOST = 30_000
"""Captures in all of one row: more of 300 take minutes. A choice."""


def main(argv: list[str]) -> int:
    """Print the table."""
    with printed("The band of many curves", markdown=True):
        print("Said: 1 of n + 1, or less by rank. Held: bands that hold 95 % or more of sound curves from end to end;")
        print("due: the confidence that ranks allow, 95 % from 59 captures on.\n")
        print("| spread | captures | bands | sound curves that leave it | said | held | due | an odd one is seen |")
        print("|---|---|---|---|---|---|---|---|")
        for shape, draw in (("normal", even), ("skewed (lognormal)", skewed)):
            for captures in CAPTURES:
                fleets = min(int(argv[0]) if argv else FLEETS, _MOST // captures)
                print(f"| {shape} | {captures} | {_row(draw, captures, fleets)} |", flush=True)
    return 0


def _row(draw: Draw, captures: int, fleets: int) -> str:
    random = np.random.default_rng((SEED, captures))
    left, said, odd = [], [], 0
    for _ in range(fleets):
        curves, others = draw(random, captures), draw(random, OTHERS)
        found = many_curves(curves, curves, ERROR)
        if found is not None:
            left.append(float(((others < found.low) | (others > found.high)).any(axis=1).mean()))
            said.append(found.chance)
        odd += found is None or bool(found.odd)
    held = np.mean(np.array(left) <= 1 - SHARE)
    due = rank_confidence(captures, round(np.median(said) * (captures + 1)))
    figures = (f"{share:.1%}" for share in (np.mean(left), np.mean(said), held, due, odd / fleets))
    return f"{len(left)} | {' | '.join(figures)}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
