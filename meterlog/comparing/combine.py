"""Errors combined, and two figures held against each other."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import NamedTuple

from meterlog.comparing.comparison import Measure, Same
from meterlog.sides import KNOWN_GOOD, Sides


class Figure(NamedTuple):
    """A figure with its half-width."""

    value: float
    error: float


COVERAGE = 1.132
"""1.96 / sqrt(3): what the root of the sum of squared half-widths is taken times; see `combined`."""


def combined(*errors: float) -> float:
    """The half-width that covers the sum of independent errors at least 95 times in 100, each uniform within its own.

    The sum of the half-widths covers always. By the rule of adding variances (a^2 / 3 for a uniform error) with the
    coverage factor 1.96 it is `COVERAGE` times the root of the sum of squares, which covers at least 95 % for two or
    more; the smaller of the two is taken.
    """
    return min(math.fsum(errors), COVERAGE * math.hypot(*errors))


def same(difference: float, uncertainty: float, tolerance: float) -> Same:
    """Judge whether two figures are the same.

    'different' where the difference is beyond its uncertainty; 'same within error' where it is not, and where it is
    known well enough that a difference larger than the tolerance would have shown; else 'cannot tell'.
    """
    if abs(difference) > uncertainty:
        return "different"
    return "same within error" if uncertainty <= tolerance else "cannot tell"


def measured(
    name: str,
    part: int | None,
    unit: str,
    good: Sequence[Figure],
    suspect: Figure | None,
    tolerance: float,
    sides: Sides = KNOWN_GOOD,
) -> Measure | None:
    """One row of the table: the known-good figures and the suspect's, each with its error.

    Args:
        name: of the measure.
        part: which pass, or None.
        unit: of the figures.
        good: of each known-good capture that has it.
        suspect: None where it has none.
        tolerance: a difference below this does not matter, in `unit`.
        sides: what the two sides are called.

    Returns:
        The row; None where neither side has the figure.
    """
    middle = _several(good)
    if middle is None or suspect is None:
        there = middle or suspect
        if there is None:
            return None
        lacking = f"too few readings for it in {sides.the_reference if middle is None else sides.the_other}"
        good_value, good_error = middle or (None, None)
        value, error = suspect or (None, None)
        return Measure(name, part, unit, good_value, good_error, value, error, None, None, "cannot tell", lacking)
    difference = suspect.value - middle.value
    uncertainty = combined(middle.error, suspect.error)
    verdict = same(difference, uncertainty, tolerance)
    return Measure(name, part, unit, *middle, *suspect, difference, uncertainty, verdict)


def _several(figures: Sequence[Figure]) -> Figure | None:
    """The middle of several known-good figures with the larger of their error and their spread about it."""
    if not figures:
        return None
    middle = statistics.median(figure.value for figure in figures)
    spread = max(abs(figure.value - middle) for figure in figures)
    return Figure(middle, max(spread, *(figure.error for figure in figures)))
