"""Errors combined, and two figures held against each other."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.comparing.comparison import Measure, Same
from meterlog.sides import KNOWN_GOOD, Sides
from meterlog.signal.tolerance import SHARE, Tolerance, odd, tolerance_interval
from meterlog.text.figures import shown


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
    middle, normal = _several(good, suspect)
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
    note = _of_many(normal, good, suspect, unit, sides) if normal is not None else ""
    return Measure(name, part, unit, *middle, *suspect, difference, uncertainty, verdict, note)


def false_alarm(sound: Sequence[float], value: float) -> float:
    """The chance that another sound one lies as far out as a value, on either side, at most.

    Of n + 1 exchangeable values each rank is as likely as every other, whatever their distribution: twice the share
    of ranks from the value outwards (Vovk, Gammerman and Shafer, Algorithmic Learning in a Random World, 2005, 2.2).
    """
    above, below = (sum(one >= value for one in sound), sum(one <= value for one in sound))
    return min(1.0, 2 * (1 + min(above, below)) / (len(sound) + 1))


_DIGITS = 4
"""Of the ends of what is normal: as many as most meters show."""


class _Normal(NamedTuple):
    """Holds what is normal, with the values that do not belong."""

    within: Tolerance
    odd: tuple[float, ...]


def _several(figures: Sequence[Figure], suspect: Figure | None) -> tuple[Figure | None, _Normal | None]:
    """The middle of several known-good figures, with what is normal where there are enough of them.

    Its error is how far what is normal reaches from it towards the suspect; of few the spread about it. It is never
    less than what a meter leaves open.
    """
    if not figures:
        return None, None
    values = np.array([figure.value for figure in figures])
    normal = _normal(values, np.array([figure.error for figure in figures]))
    middle = statistics.median(values.tolist())
    spread = float(np.abs(values - middle).max())
    if normal is not None:
        above = suspect is not None and suspect.value > middle
        spread = normal.within.high - middle if above else middle - normal.within.low
    return Figure(middle, max(spread, *(figure.error for figure in figures))), normal


def _normal(values: NDArray[np.float64], errors: NDArray[np.float64]) -> _Normal | None:
    out = odd(values, errors)
    within = tolerance_interval(values[~out])
    return None if within is None else _Normal(within, tuple(values[out].tolist()))


def _of_many(normal: _Normal, good: Sequence[Figure], suspect: Figure, unit: str, sides: Sides) -> str:
    """A sentence on what is normal, how sure that is, how far out the suspect is, and what was left out of it."""
    within, left_aside = normal
    low, high, *left_out = (shown(one, unit, digits=_DIGITS) for one in (within.low, within.high, *left_aside))
    used = [figure.value for figure in good if figure.value not in left_aside]
    text = (
        f"by {len(used)} {sides.reference} captures {SHARE:.0%} of such lie from {low} to {high} with "
        f"{within.confidence:.0%} confidence, so up to {1 - SHARE:.0%} of sound ones lie outside"
    )
    if not within.low <= suspect.value <= within.high:
        text += f"; as far out as this is at most {false_alarm(used, suspect.value):.1%} of sound ones"
    return f"{text}; left out as odd: {', '.join(left_out)}" if left_aside else text
