"""The rows that every bench gives: goal, figure, ratio and verdict, and how they are printed and timed.

A bench is a module with `rows() -> Iterator[Row]`. Absolute times drift by a factor of two from run to run, so the
ratio to something plain in the same run stands beside each figure.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from importlib import import_module
from typing import NamedTuple

MET = "met"
_WIDTHS = (76, 14, 44)


class Row(NamedTuple):
    """One line of the table.

    Attributes:
        goal: what is measured and what is wanted of it.
        figure: what was measured, with its unit.
        ratio: the same against something plain in the same run.
        verdict: `met`, or by how much it was missed.
    """

    goal: str
    figure: str
    ratio: str
    verdict: str


def at_most(what: str, figure: float, goal: float, unit: str, ratio: str = "") -> Row:
    """A row for what must not be larger than its goal."""
    by = f"{figure / goal:.2f} times the goal" if goal else f"by {figure:g}"
    return _row(what, "at most", figure, goal, unit, ratio, MET if figure <= goal else f"MISSED, {by}")


def at_least(what: str, figure: float, goal: float, unit: str, ratio: str = "") -> Row:
    """A row for what must not be smaller than its goal."""
    return _row(
        what,
        "at least",
        figure,
        goal,
        unit,
        ratio,
        MET if figure >= goal else f"MISSED, {figure / goal:.3f} of the goal",
    )


def _row(what: str, how: str, figure: float, goal: float, unit: str, ratio: str, verdict: str) -> Row:
    if how == "at most" and goal == 0:
        return Row(f"{what}: none", f"{figure:g} {unit}", ratio, verdict)
    return Row(f"{what}: {how} {_number(goal)} {unit}", f"{_number(figure)} {unit}", ratio, verdict)


def _number(value: float) -> str:
    """At most three digits where they say enough."""
    return f"{value:.0f}" if abs(value) >= 100 else f"{value:.3g}"


def rows_of(bench: str) -> list[Row]:
    """Return the rows of the bench of that name."""
    return list(import_module(f"tests.bench.{bench}").rows())


def markdown(rows: Iterable[Row]) -> list[str]:
    """The rows as the lines of a Markdown table."""
    head = ["| goal | figure | ratio in the same run | verdict |", "|---|---|---|---|"]
    return head + [f"| {' | '.join(row)} |" for row in rows]


def show(rows: Iterable[Row], *, heading: bool = True) -> int:
    """Print each row as it comes; the number of those that missed their goal."""
    if heading:
        _line(Row("goal", "figure", "ratio in the same run", "verdict"))
        print("|" + "|".join("-" * (width + 2) for width in _WIDTHS) + "|---|", flush=True)
    missed = 0
    for row in rows:
        missed += row.verdict != MET
        _line(row)
    return missed


def _line(row: Row) -> None:
    cells = [cell.ljust(width) for cell, width in zip(row, _WIDTHS, strict=False)]
    print("| " + " | ".join([*cells, row.verdict]) + " |", flush=True)


def in_turns(
    *ways: Callable[[], object], times: int = 5, clock: Callable[[], float] = time.perf_counter
) -> list[float]:
    """The shortest of some runs of each way, s; in turns, so that a busy machine slows all alike.

    With `clock=time.process_time` what other programs take of the processor is not counted: for work in one thread.
    """
    shortest = [float("inf")] * len(ways)
    for _ in range(times):
        for k, way in enumerate(ways):
            begun_s = clock()
            way()
            shortest[k] = min(shortest[k], clock() - begun_s)
    return shortest


def best_s(work: Callable[[], object], times: int = 5, clock: Callable[[], float] = time.perf_counter) -> float:
    """The shortest of some runs, s."""
    return in_turns(work, times=times, clock=clock)[0]
