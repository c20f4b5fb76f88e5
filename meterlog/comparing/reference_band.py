"""The reference band of the known-good at the suspect's reading times, and the suspect's excursions from it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.comparing.align import Pass
from meterlog.comparing.combine import COVERAGE, combined
from meterlog.comparing.comparison import Band, Excursion
from meterlog.comparing.many_curves import many_curves
from meterlog.findings.level import resolution_of
from meterlog.reading import Accuracy
from meterlog.series import Series

_FARTHEST_INTERVALS = 4.0
"""Nothing is known between readings that are further apart than this many intervals, as for the event `gap`."""
_JOINED_INTERVALS = 2.5
"""Readings outside the band, up to so many intervals apart, are one excursion: one between may be lost. A guess."""

Array = NDArray[np.float64]


class Reference(NamedTuple):
    """One known-good capture's pass with its readings and its meter's accuracy."""

    laid: Pass
    series: Series
    accuracy: Accuracy


def band(part: int | None, suspect: Reference, good: Sequence[Reference]) -> Band:
    """The band of the known-good at the suspect's readings in one pass.

    Where a capture is between two readings, or the alignment may be off by its error, anything that it read within
    that time may be right: the band holds the lowest and the highest of those. So an edge is never an excursion for
    falling between two readings. Over several known-good the band is their joint range, and `middle` their median; of
    many it is that of `many_curves`.
    """
    own = suspect.series.between(suspect.laid.start_s, suspect.laid.end_s)
    relative = own.time_s - suspect.laid.onset_s
    lows, highs, middles = [], [], []
    for reference in good:
        low, high, middle = _envelope(relative, reference, combined(suspect.laid.error_s, reference.laid.error_s))
        lows.append(low)
        highs.append(high)
        middles.append(middle)
    middle = _median(middles)
    own_error = _error(own.value, suspect)
    good_error = np.max([_error(middle, reference) for reference in good], axis=0)  # any of them may bound the band
    error = np.minimum(own_error + good_error, COVERAGE * np.hypot(own_error, good_error))
    many = many_curves(np.stack(lows), np.stack(highs), good_error)
    if many is not None:
        return Band(part, own.time_s, own.value, middle, many.low, many.high, error, many.chance, many.odd)
    return Band(part, own.time_s, own.value, middle, _least(lows, np.fmin), _least(highs, np.fmax), error)


def _error(value: Array, reference: Reference) -> Array:
    """The accuracy's half-width at each value; 0 at overload, which is no number."""
    count = resolution_of(reference.series)
    size = np.where(np.isfinite(value), np.abs(value), 0.0)
    share, counts, fixed = reference.accuracy
    return size * share + counts * (0.0 if np.isnan(count) else count) + fixed


def _envelope(relative: Array, reference: Reference, error_s: float) -> tuple[Array, Array, Array]:
    """The lowest and the highest that one capture may be at each moment, and its value straight between readings."""
    series = reference.series.between(reference.laid.start_s, reference.laid.end_s)
    unknown = np.full(len(relative), np.nan)
    if len(series) < 2 or not len(relative):
        return unknown, unknown, unknown
    times = series.time_s - reference.laid.onset_s
    first = np.searchsorted(times, relative - error_s, "right") - 1
    last = np.searchsorted(times, relative + error_s, "left")
    known = (first >= 0) & (last < len(times))
    first, last = np.maximum(first, 0), np.minimum(last, len(times) - 1)
    reach = 2 * error_s + _FARTHEST_INTERVALS * float(np.median(np.diff(times)))
    known &= times[last] - times[first] <= reach
    low = np.where(known, _extreme(series.value, first, last, np.minimum), np.nan)
    high = np.where(known, _extreme(series.value, first, last, np.maximum), np.nan)
    with np.errstate(invalid="ignore"):
        middle = np.interp(relative, times, series.value)
    return low, high, np.where(known, middle, np.nan)


def _extreme(value: Array, first: NDArray[np.int64], last: NDArray[np.int64], pick: np.ufunc) -> Array:
    """`pick` over value[first..last], both ends included, for many stretches at once.

    Two overlapping stretches of a power of two cover any stretch; a table of those is built by doubling.
    """
    result = value[first].astype(np.float64)
    level = np.log2(np.maximum(last - first + 1, 1)).astype(np.int64)
    table, size = value, 1
    for exponent in range(int(level.max()) + 1 if len(level) else 0):
        here = level == exponent
        result[here] = pick(table[first[here]], table[last[here] - size + 1])
        table, size = pick(table[:-size], table[size:]), 2 * size
    return result


def _least(parts: list[Array], pick: np.ufunc) -> Array:
    result: Array = pick.reduce(np.stack(parts), axis=0)
    return result


def _median(parts: list[Array]) -> Array:
    stacked = np.sort(np.stack(parts), axis=0)  # NaN go last
    known = np.isfinite(stacked) | np.isinf(stacked)
    count = known.sum(axis=0)
    lower = np.take_along_axis(stacked, np.maximum(count - 1, 0)[None] // 2, axis=0)[0]
    upper = np.take_along_axis(stacked, (count // 2).clip(max=len(parts) - 1)[None], axis=0)[0]
    with np.errstate(invalid="ignore"):
        middle = np.where(lower == upper, lower, (lower + upper) / 2)
    return np.where(count > 0, middle, np.nan)


def excursions(found: Band) -> list[Excursion]:
    """The stretches in which the suspect is out of the band by more than the combined error."""
    with np.errstate(invalid="ignore"):
        beyond = np.fmax(found.suspect - found.high, found.low - found.suspect) - found.error
    beyond = np.where((found.suspect == found.high) | (found.suspect == found.low), -np.inf, beyond)
    out = np.flatnonzero(beyond > 0)
    if not len(out):
        return []
    reach = _JOINED_INTERVALS * float(np.median(np.diff(found.time_s))) if len(found.time_s) > 1 else 0.0
    groups = np.split(out, np.flatnonzero(np.diff(found.time_s[out]) > reach) + 1)
    return [_excursion(found, group, beyond) for group in groups]


def _excursion(found: Band, group: NDArray[np.int64], beyond: Array) -> Excursion:
    worst = int(group[np.argmax(beyond[group])])
    value, reference = float(found.suspect[worst]), float(found.middle[worst])
    difference = value - reference if np.isfinite(value) and np.isfinite(reference) else np.inf
    return Excursion(
        found.part,
        float(found.time_s[group[0]]),
        float(found.time_s[group[-1]]),
        value,
        reference,
        float(difference),
        float(beyond[worst]),
    )
