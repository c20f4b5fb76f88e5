"""The truth: the kinds and definitions of events applied to the true signal, sample by sample.

Deliberately the plainest possible code, and none of the analyzer's: it sees the signal itself, without a meter, at half
a millisecond. Truth is what the analyzer is judged by.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Marker
from meterlog_drivers.simulated.meter import MeterModel
from meterlog_drivers.simulated.van.vehicle import Signal

ON_V = 3.0
"""Above this the supply counts as on before its own level is known: a quarter of 12 V."""

# The definitions of the kinds, with their defaults: written here once more, since truth shares nothing with detectors.
PRIME_S = (0.5, 10.0)
"""The shortest and the longest prime, s."""
SHORT_ON_S, SHORT_OFF_S, LONG_OFF_S = 10.0, 1.0, 30.0
"""Below so long an 'on' interval, s, a dropout is at most so long, s; after longer ones so long, s."""
PRIME_WAIT_S = 3.0
"""After a key-on a prime begins within this, s."""
CHATTER_CHANGES, CHATTER_GAP_S = 4, 1.0
"""So many changes, each less than this apart, s, are chatter."""
SAG_SHARE, SAG_END_SHARE, OUT_SHARE = 0.90, 0.92, 0.50
"""Shares of the reference below which a sag begins, above which it ends, and at or below which it is a dropout."""
OVERVOLTAGE_V = 15.0
"""Above this a 12 V system has overvoltage, V."""
STEP_SHARE, STEADY_S = 0.20, 1.0
"""A resistance that changes by more than this share and is steady for so long, s, has a step."""
REFERENCE_S = 10.0
"""Time constant of the sliding reference, s; IEC 61000-4-30 uses one minute on mains, a choice to state on DC."""

INRUSH_S = 0.1
"""Time in which what the load draws belongs to the switching on and is no sag, s."""

FIRST_S = 1.0
"""The sliding reference of an 'on' interval begins at the median of this much, s; a fall is measured by the same."""

Pair = tuple[float, float]


@dataclass(slots=True)
class OnInterval:
    """One 'on' interval with the dropouts inside it, s; `level` is its median, V."""

    start_s: float
    end_s: float
    level: float
    dropouts: list[Pair]


def true_events(signal: Signal, channel: int, markers: Sequence[Marker], supply: bool) -> list[Event]:
    """The true events of one signal, in order of time.

    Args:
        signal: what truly was between the probes.
        channel: its number, from 1.
        markers: what a person marked.
        supply: it is a supply voltage against battery -; drops and currents have no events of their own.
    """
    if supply:
        found = _supply_events(signal, channel, markers)
    elif signal.quantity is Quantity.RESISTANCE:
        found = _resistance_events(signal, channel)
    else:
        found = []
    return sorted(found, key=lambda event: event.start_s)


def meter_events(series: Series, model: MeterModel, channel: int, duration_s: float) -> list[Event]:
    """List what the meter did to the readings: gaps, hold, its battery, changes of range."""
    found = []
    for begin, end in model.link_down:
        before, after = series.time_s[series.time_s < begin], series.time_s[series.time_s >= end]
        if len(before) and len(after) and after[0] - before[-1] > max(1.0, 4 * model.interval_s):
            found.append(_event("gap", channel, float(before[-1]), float(after[0])))
    found += [_event("held_display", channel, begin, end) for begin, end in model.held]
    if model.low_battery_from_s < duration_s:
        found.append(_event("meter_battery_low", channel, model.low_battery_from_s, duration_s))
    shown = (series.flags & Flag.OVERLOAD) == 0
    times, resolution = series.time_s[shown], series.resolution[shown]
    changes = np.flatnonzero(np.diff(resolution)) + 1
    found += [_event("range_change", channel, float(times[k - 1]), float(times[k])) for k in changes]
    return found


def on_intervals(signal: Signal) -> list[OnInterval]:
    """The 'on' intervals of a supply, dropouts joined by the rules for short and long ones."""
    intervals: list[OnInterval] = []
    for start, end, level in _on_runs(signal):
        if intervals:
            last = intervals[-1]
            longest = SHORT_OFF_S if last.end_s - last.start_s < SHORT_ON_S else LONG_OFF_S
            if start - last.end_s <= longest:
                last.dropouts.append((last.end_s, start))
                last.end_s = end
                continue
        intervals.append(OnInterval(start, end, level, []))
    for interval in intervals:
        interval.level = _level_without_dropouts(signal, interval)
    return intervals


def _on_runs(signal: Signal) -> Iterable[tuple[float, float, float]]:
    """Find where the supply is above half of its own level, and that level: the median of the second before a fall, or
    of the whole stretch above `ON_V` at its beginning and end."""
    for start, end in _runs(signal.value > ON_V, signal.step_s):
        values = _slice(signal, (start, end))
        level = float(np.median(values))
        runs = _runs(values > OUT_SHARE * level, signal.step_s)
        joined = runs[:1]
        for a, b in runs[1:]:
            last = joined[-1][1]
            before = values[_steps(max(0.0, last - FIRST_S), signal) : _steps(last, signal)]
            if values[_steps(last, signal) : _steps(a, signal)].min() > OUT_SHARE * np.median(before):
                joined[-1] = (joined[-1][0], b)
            else:
                joined.append((a, b))
        for a, b in joined:
            yield start + a, start + b, level


def _supply_events(signal: Signal, channel: int, markers: Sequence[Marker]) -> list[Event]:
    intervals = on_intervals(signal)
    last = (len(signal.value) - 0.5) * signal.step_s  # half a step off: times are sums of floats
    chatters = _chatters(intervals, last)
    found = [_event("chatter", channel, begin, end) for begin, end in chatters]
    for interval in intervals:
        length = interval.end_s - interval.start_s
        ends = interval.end_s < last
        if ends and interval.start_s > 0.0 and PRIME_S[0] <= length <= PRIME_S[1]:
            lowest = float(_slice(signal, (interval.start_s, interval.end_s)).min())
            found.append(_event("prime_pulse", channel, interval.start_s, interval.end_s, interval.level, lowest))
        if ends and length > SHORT_ON_S:
            found.append(_event("supply_lost", channel, interval.end_s, interval.end_s, reference=interval.level))
        for begin, end in interval.dropouts:
            if not any(a <= begin and end <= b for a, b in chatters):
                lowest = float(_slice(signal, (begin, end)).min())
                found.append(_event("dropout", channel, begin, end, extreme=lowest, reference=interval.level))
        found += _sags(signal, interval, channel, chatters)
    found += _missing_primes(intervals, channel, markers)
    for begin, end in _runs(signal.value > OVERVOLTAGE_V, signal.step_s):
        found.append(_event("overvoltage", channel, begin, end, extreme=float(_slice(signal, (begin, end)).max())))
    return found


def _missing_primes(intervals: list[OnInterval], channel: int, markers: Sequence[Marker]) -> Iterable[Event]:
    for marker in markers:
        if marker.name != "key-on":
            continue
        until = marker.time_s + PRIME_WAIT_S
        on_already = any(i.start_s <= marker.time_s < i.end_s for i in intervals)
        if not on_already and not any(marker.time_s <= i.start_s <= until for i in intervals):
            yield _event("missing_prime", channel, marker.time_s, marker.time_s)


def _chatters(intervals: list[OnInterval], last_s: float) -> list[Pair]:
    changes = [t for i in intervals for t in (i.start_s, *(edge for pair in i.dropouts for edge in pair), i.end_s)]
    changes = [t for t in changes if 0.0 < t < last_s]
    groups: list[list[float]] = []
    for change in changes:
        if groups and change - groups[-1][-1] < CHATTER_GAP_S:
            groups[-1].append(change)
        else:
            groups.append([change])
    return [(g[0], g[-1]) for g in groups if len(g) >= CHATTER_CHANGES]


def _sags(signal: Signal, interval: OnInterval, channel: int, chatters: list[Pair]) -> list[Event]:
    """Dips below 90 % of a sliding reference that stands still during the dip, hysteresis 2 %."""
    values = _slice(signal, (interval.start_s, interval.end_s)).tolist()
    first = _steps(interval.start_s, signal)
    pace = signal.step_s / REFERENCE_S
    reference, begin, lowest = float(np.median(values[: _steps(FIRST_S, signal)])), -1, 0.0
    found: list[tuple[int, int, float, float]] = []
    inrush = _steps(INRUSH_S, signal) if interval.start_s > 0.0 else 0
    for k, value in enumerate(values):
        if k < inrush:
            continue
        if begin < 0 and value >= SAG_SHARE * reference:
            reference += pace * (value - reference)
        elif begin < 0:
            begin, lowest = k, value
        elif begin >= 0:
            lowest = min(lowest, value)
            if value >= SAG_END_SHARE * reference:
                found.append((begin, k, lowest, reference))
                begin = -1
    return [
        _event("sag", channel, a, b, extreme=low, reference=ref)
        for a, b, low, ref in (
            ((first + i) * signal.step_s, (first + j) * signal.step_s, low, r) for i, j, low, r in found
        )
        if low > OUT_SHARE * ref and not any(x <= b and a <= y for x, y in chatters)
    ]


def _resistance_events(signal: Signal, channel: int) -> list[Event]:
    last = len(signal.value) * signal.step_s
    finite = np.isfinite(signal.value)
    found = [_event("open_circuit", channel, begin, end) for begin, end in _runs(~finite, signal.step_s) if begin > 0.0]
    steady: float | None = None
    for begin, end in _plateaus(signal):
        value = float(signal.value[_steps(begin, signal)])
        if not np.isfinite(value) or (end - begin < STEADY_S and end < last):
            continue
        if steady is not None and abs(value - steady) > STEP_SHARE * steady:
            found.append(_event("resistance_step", channel, begin, begin, level=value, reference=steady))
        steady = value
    return found


def _plateaus(signal: Signal) -> list[Pair]:
    value = signal.value
    changes = (np.flatnonzero(value[1:] != value[:-1]) + 1) * signal.step_s
    edges = [0.0, *changes.tolist(), len(value) * signal.step_s]
    return list(pairwise(edges))


def _level_without_dropouts(signal: Signal, interval: OnInterval) -> float:
    values = _slice(signal, (interval.start_s, interval.end_s))
    return float(np.median(values[values > ON_V]))


def _runs(mask: NDArray[np.bool_], step_s: float) -> list[Pair]:
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0)).reshape(-1, 2)
    return [(float(a) * step_s, float(b) * step_s) for a, b in edges]


def _steps(time_s: float, signal: Signal) -> int:
    return round(time_s / signal.step_s)


def _slice(signal: Signal, span: Pair) -> NDArray[np.float64]:
    return signal.value[_steps(span[0], signal) : max(_steps(span[1], signal), _steps(span[0], signal) + 1)]


def _event(
    kind: str,
    channel: int,
    start_s: float,
    end_s: float,
    level: float | None = None,
    extreme: float | None = None,
    reference: float | None = None,
) -> Event:
    return Event(kind, channel, start_s, end_s, end_s - start_s, 0.0, level, extreme, reference, "true")
