"""Detectors that a person would write in an afternoon, for comparison: a threshold, a rolling median, change points."""

from __future__ import annotations

import numpy as np
import pandas as pd

from meterlog.events.event import Event
from tests.bench.logs import Log

ON_V, OFF_V = 6.0, 6.0
"""Half of 12 V, as one would set it by hand."""


def by_threshold(log: Log) -> list[Event]:
    """On above 6 V: pulses by their length, all else that is off is a dropout; above 15 V is too much."""
    value, time_s = log.series.value, log.series.time_s
    found = _on_and_off(time_s, value >= ON_V)
    return found + [_event("overvoltage", a, b, time_s) for a, b in _runs(value > 15.0)]


def by_rolling_median(log: Log) -> list[Event]:
    """Shares of a centred rolling median over 101 readings, and the same rules."""
    value, time_s = log.series.value, log.series.time_s
    finite = np.where(np.isfinite(value), value, np.nan)
    reference = pd.Series(finite).rolling(101, center=True, min_periods=1).median().to_numpy()
    reference = np.where(reference > ON_V, reference, np.nanmax(finite, initial=ON_V))
    found = _on_and_off(time_s, value >= 0.5 * reference)
    sagging = (value < 0.9 * reference) & (value > 0.5 * reference)
    found += [_event("sag", a, b, time_s) for a, b in _runs(sagging)]
    return found + [_event("overvoltage", a, b, time_s) for a, b in _runs(value > 15.0)]


def by_change_points(log: Log) -> list[Event]:
    """Pelt on the readings (ruptures), its segments classed by their means against the median of those that are on."""
    import ruptures

    value, time_s = log.series.value, log.series.time_s
    if len(value) < 4 or not np.isfinite(value).all():
        return []
    ends = ruptures.Pelt(model="l2", min_size=1, jump=1).fit(value.reshape(-1, 1)).predict(pen=2.0)
    level = np.empty(len(value))
    for a, b in zip([0, *ends[:-1]], ends, strict=True):
        level[a:b] = value[a:b].mean()
    on = level >= ON_V
    reference = float(np.median(level[on])) if on.any() else ON_V
    found = _on_and_off(time_s, level >= 0.5 * reference)
    found += [_event("sag", a, b, time_s) for a, b in _runs((level < 0.9 * reference) & (level > 0.5 * reference))]
    return found + [_event("overvoltage", a, b, time_s) for a, b in _runs(level > 15.0)]


def _on_and_off(time_s: np.ndarray, on: np.ndarray) -> list[Event]:
    found = []
    for a, b in _runs(on):
        whole = a > 0 and b < len(on)
        if whole and 0.5 <= time_s[b] - time_s[a] <= 10.0:
            found.append(_event("prime_pulse", a, b, time_s))
    for a, b in _runs(~on):
        if a > 0 and b < len(on) and time_s[b] - time_s[a] <= 30.0:
            found.append(_event("dropout", a, b, time_s))
        elif a > 0 and time_s[a] - time_s[0] > 10.0:
            found.append(_event("supply_lost", a, b, time_s))
    return found


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    return [(int(a), int(b)) for a, b in edges]


def _event(kind: str, a: int, b: int, time_s: np.ndarray) -> Event:
    start, end = float(time_s[a]), float(time_s[min(b, len(time_s) - 1)])
    return Event(kind, 1, start, end, end - start, float(np.median(np.diff(time_s))))
