"""Fewer points to draw that look the same: every extreme kept, gaps left open, overload told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tsdownsample import MinMaxDownsampler

from meterlog.series import Series
from meterlog.signal.interval import reading_interval

_GAP_INTERVALS = 4.0
_GAP_AT_LEAST_S = 1.0
"""A line is broken where readings are further apart than both: as for a `gap` event."""
_MOST_SPANS = 500
"""Runs of overload drawn one by one; above it near ones are joined. A choice."""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A channel as it is to be drawn.

    Attributes:
        time_s: float64 (m,), s from the session's start, never decreasing.
        value: float64 (m,), in the channel's unit; NaN where the line must break.
        gaps: (start, end) of the stretches without readings, s.
        overload: (start, end) of the stretches in which the meter showed overload, s.
    """

    time_s: NDArray[np.float64]
    value: NDArray[np.float64]
    gaps: list[tuple[float, float]]
    overload: list[tuple[float, float]]


def reduce_series(series: Series, points: int = 2000) -> Drawn:
    """Reduce a channel to at most about `points` points, the lowest and the highest of each bucket of time kept.

    Min-max reduction keeps a dropout of one reading at every zoom; it drops what is not finite, so breaks are put
    in afterwards: where readings are missing for more than 4 intervals and 1 s, and where the meter showed overload.
    Neighbouring gaps, and overloads, are joined where there are more than 500.

    Args:
        series: the readings in the window to draw.
        points: an even number of at least 4.
    """
    gap_s = max(_GAP_AT_LEAST_S, _GAP_INTERVALS * _interval(series))
    time_s, value = series.time_s, series.value
    finite = np.isfinite(value)
    if finite.all():  # the usual case, without copies
        broken = np.diff(time_s) > gap_s
    else:
        places = np.flatnonzero(finite)
        time_s, value = time_s[places], value[places]
        broken = (np.diff(places) > 1) | (np.diff(time_s) > gap_s)
    if len(value) > points:
        kept = MinMaxDownsampler().downsample(  # type: ignore[no-untyped-call]
            np.ascontiguousarray(time_s), np.ascontiguousarray(value), n_out=points
        )
        part = np.searchsorted(np.flatnonzero(broken), kept, "left")  # how many breaks lie before each
        time_s, value, broken = time_s[kept], value[kept], np.diff(part) > 0
    at = np.flatnonzero(broken) + 1
    middle = (time_s[at - 1] + time_s[at]) / 2
    return Drawn(
        np.insert(time_s, at, middle),
        np.insert(value, at, np.nan),
        _joined(_gaps(series, gap_s), series),
        _joined(_overloads(series), series),
    )


def _interval(series: Series) -> float:
    interval_s = reading_interval(series.time_s).interval_s
    return 0.0 if np.isnan(interval_s) else interval_s


def _gaps(series: Series, gap_s: float) -> NDArray[np.float64]:
    at = np.flatnonzero(np.diff(series.time_s) > gap_s)
    return np.column_stack([series.time_s[at], series.time_s[at + 1]])


def _overloads(series: Series) -> NDArray[np.float64]:
    """Each run of overload, from its first reading to the next that is none, or to its last at the end."""
    over = np.concatenate([[False], np.isinf(series.value), [False]])
    edges = np.flatnonzero(np.diff(over.astype(np.int8))).reshape(-1, 2)
    last = len(series) - 1
    return np.column_stack([series.time_s[edges[:, 0]], series.time_s[np.minimum(edges[:, 1], last)]])


def _joined(spans: NDArray[np.float64], series: Series) -> list[tuple[float, float]]:
    if len(spans) > _MOST_SPANS:
        near_s = float(series.time_s[-1] - series.time_s[0]) / _MOST_SPANS
        first = np.concatenate([[True], spans[1:, 0] - spans[:-1, 1] > near_s])
        starts = np.flatnonzero(first)
        ends = np.concatenate([starts[1:], [len(spans)]]) - 1
        spans = np.column_stack([spans[starts, 0], spans[ends, 1]])
    return [(float(start), float(end)) for start, end in spans]
