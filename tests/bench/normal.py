"""Measures how often `normal` keeps its word, over made-up fleets: `python -m tests.bench.normal [FLEETS]`."""

from __future__ import annotations

import sys
from collections.abc import Callable
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from meterlog.comparing.combine import false_alarm
from meterlog.fleet.asking.normal import normal_of
from meterlog.signal.tolerance import SHARE
from tests.bench.results import printed
from tests.fleet.test_normal import measures

FLEETS, SEED = 1000, 20260
VEHICLES = 10, 30, 100, 300
_Z = NormalDist()

Draw = Callable[[np.random.Generator, int], NDArray[np.float64]]
SHAPES: dict[str, tuple[Draw, Callable[[float], float]]] = {
    "normal": (lambda random, n: random.normal(14.1, 0.2, n), lambda value: _Z.cdf((value - 14.1) / 0.2)),
    "skewed (lognormal)": (
        lambda random, n: random.lognormal(-3.0, 0.6, n),
        lambda value: _Z.cdf((np.log(value) + 3.0) / 0.6) if value > 0 else 0.0,
    ),
}
"""Says how a measure is spread over vehicles, and the share of them below a value."""


def main(argv: list[str]) -> int:
    """Print the table."""
    fleets = int(argv[0]) if argv else FLEETS
    with printed("What is normal", markdown=True):
        print(f"{fleets} fleets each; kept: 95 % or more of all vehicles lie inside, of 100 intervals that say 95 %.\n")
        print("| spread | vehicles | says 95 % | says less | says nothing | kept | false alarms at 10 % |")
        print("|---|---|---|---|---|---|---|")
        for shape, (draw, below) in SHAPES.items():
            for vehicles in VEHICLES:
                print(f"| {shape} | {vehicles} | {_row(draw, below, vehicles, fleets)} |", flush=True)
    return 0


def _row(draw: Draw, below: Callable[[float], float], vehicles: int, fleets: int) -> str:
    random = np.random.default_rng((SEED, vehicles))
    kept, less, nothing, alarms = [], 0, 0, 0
    for _ in range(fleets):
        values = draw(random, vehicles)
        (found,) = normal_of(measures({f"van {n}": [value] for n, value in enumerate(values.tolist())}, error=0.0))
        alarms += false_alarm(values.tolist(), float(draw(random, 1)[0])) <= 0.10
        if found.low is None or found.high is None:
            nothing += 1
        elif (found.confidence or 0.0) < 0.95:
            less += 1
        else:
            kept.append(below(found.high) - below(found.low) >= SHARE)
    share = f"{np.mean(kept):.1%}" if kept else "-"
    return f"{len(kept)} | {less} | {nothing} | {share} | {alarms / fleets:.1%}"


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
