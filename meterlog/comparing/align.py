"""Lays captures over each other, on a prime, a crank or a marker, else by cross-correlation, with the error."""

from __future__ import annotations

import bisect
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
from numpy.typing import NDArray

from meterlog.events.event import Event
from meterlog.loaded import Loaded
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval

_LEAD_S = 1.0
_TAIL_S = 1.0
_LONGEST_S = 60.0
"""A pass runs from 1 s before its onset to 1 s after the event, or 60 s after a marker; defaults, unverified."""

MARKER_ERROR_S = 0.5
"""Half-width of the error of a person's marker, s; default, unverified."""

MARKER_LAG_S = 1.0
"""The most by which a person's marker may come after the key-on it marks, s; default, unverified."""

_GRID = 8192
"""The most steps of the grid on which captures are correlated: bounds the time that it takes."""
_LEAST_LIKENESS = 0.6
"""Correlation coefficient below which captures are not alike. A guess."""
_LEAST_READINGS = 4
"""Fewer readings have no likeness, and prove none. A guess."""
_LEAST_OVERLAP, _LEAST_VARIATION = 0.5, 0.05
"""Shares of the shorter capture that must overlap, and of its greatest variation that the overlap must have: a part
that hardly varies is like anything, by its noise alone. Guesses."""


@dataclass(frozen=True, slots=True)
class Pass:
    """One run of the same thing: a prime, a crank, what follows a marker, or the whole capture.

    Attributes:
        onset_s: the moment that is laid over the others', s from its session's start.
        error_s: half-width of what the onset may be wrong by, s.
        start_s: where the pass begins, s from its session's start.
        end_s: where it ends.
        event: the prime or crank itself; None for other passes.
    """

    onset_s: float
    error_s: float
    start_s: float
    end_s: float
    event: Event | None = None


@dataclass(frozen=True, slots=True)
class Laid:
    """The captures of one channel laid over each other.

    Attributes:
        method: in words; see `Alignment`.
        parts: the passes' numbers, from 1: of the key-on, prime, crank or marker.
        suspect: the suspect's passes, as many as `parts`.
        good: for each known-good capture its passes, in the same order.
        seen: how many passes each capture has, the suspect first.
    """

    method: str
    parts: list[int]
    suspect: list[Pass]
    good: list[list[Pass]]
    seen: list[int]


def lay(good: Sequence[tuple[Loaded, Channel]], suspect: tuple[Loaded, Channel]) -> Laid:
    """Lay the captures of one channel over each other by the surest method that all of them allow."""
    every = [suspect, *good]
    primed = [primes(capture, channel) for capture, channel in every]
    cranked = [cranks(capture, channel) for capture, channel in every]
    keyed = [_by_key_on(capture, passes) for (capture, _), passes in zip(every, primed, strict=True)]
    for method, numbered in (
        ("prime onset", keyed),
        ("prime onset", _in_order(primed)),
        ("crank onset", _in_order(cranked)),
    ):
        laid = _laid(method, numbered)
        if laid is not None:
            return laid
        if method == "prime onset" and all(keyed):
            break  # all have primes, but never at the same key-on: their order says nothing
    name = _shared_marker([capture for capture, _ in every])
    laid = _laid(f"marker {name}", _in_order([_after_marker(capture, name) for capture, _ in every]))
    return laid or _correlate(good, suspect)


def nudged(laid: Laid, nudge_s: float) -> Laid:
    """The same with every known-good pass laid later by `nudge_s`, as a person judges by eye."""
    if not nudge_s:
        return laid
    good = [[replace(one, onset_s=one.onset_s - nudge_s) for one in passes] for passes in laid.good]
    return replace(laid, method=f"{laid.method}, nudged by hand", good=good)


def _laid(method: str, numbered: Sequence[dict[int, Pass]]) -> Laid | None:
    """The passes that every capture has; None where there is no such pass."""
    parts = sorted(set.intersection(*(set(passes) for passes in numbered)))
    if not parts:
        return None
    chosen = [[passes[part] for part in parts] for passes in numbered]
    return Laid(method, parts, chosen[0], chosen[1:], [len(passes) for passes in numbered])


def _in_order(every: Sequence[list[Pass]]) -> list[dict[int, Pass]]:
    return [dict(enumerate(passes, 1)) for passes in every]


def _by_key_on(capture: Loaded, passes: list[Pass]) -> dict[int, Pass]:
    """The first pass after each key-on marker, by the marker's number; a marker may come up to 1 s late."""
    times = [m.time_s for m in capture.markers if m.name.strip().casefold() == "key-on"]
    found: dict[int, Pass] = {}
    for one in passes:
        number = bisect.bisect_right(times, one.onset_s + MARKER_LAG_S)
        if number:
            found.setdefault(number, one)
    return found


def primes(capture: Loaded, channel: Channel) -> list[Pass]:
    """Return the primes on a channel, in time order; what a fault leaves of a run is none."""
    pulses = [one for one in capture.events_of(channel, "prime_pulse") if not capture.evidence.is_run(one)]
    passes = []
    for pulse, after in zip_longest(pulses, pulses[1:]):
        end_s = min(pulse.end_s + _TAIL_S, after.start_s - _LEAD_S if after else math.inf)
        passes.append(Pass(pulse.start_s, _edge_error(capture, channel, pulse), pulse.start_s - _LEAD_S, end_s, pulse))
    return passes


def cranks(capture: Loaded, channel: Channel) -> list[Pass]:
    """Return the dips on a channel that are the starter's, in time order."""
    return [
        Pass(c.start_s, _edge_error(capture, channel, c), c.start_s - _LEAD_S, c.end_s + _TAIL_S, c)
        for c in capture.cranks(channel)
    ]


def _edge_error(capture: Loaded, channel: Channel, event: Event) -> float:
    """Half a reading interval, or half of the duration's error where that is larger (a duration has two edges).

    Over 450 simulated primes at intervals of 0.1 to 0.5 s this covered the true onset in 99 of 100.
    """
    series = capture.believed(channel.number)
    interval = reading_interval(series.time_s, series.time_error_s)
    return max(interval.interval_s / 2 + interval.time_error_s, (event.duration_error_s or 0.0) / 2)


def _shared_marker(captures: Sequence[Loaded]) -> str:
    """A marker's name that every capture has: key-on, crank, then whatever the suspect has first; else nothing."""
    names = [[m.name.strip().casefold() for m in capture.markers] for capture in captures]
    for name in ("key-on", "crank", *names[0]):
        if all(name in of_one for of_one in names):
            return name
    return ""


def _after_marker(capture: Loaded, name: str) -> list[Pass]:
    times = [m.time_s for m in capture.markers if m.name.strip().casefold() == name]
    passes = []
    for time_s, after_s in zip_longest(times, times[1:]):
        end_s = min(time_s + _LONGEST_S, capture.duration_s if after_s is None else after_s - _LEAD_S)
        passes.append(Pass(time_s, MARKER_ERROR_S, time_s - _LEAD_S, max(time_s, end_s)))
    return passes


def _correlate(good: Sequence[tuple[Loaded, Channel]], suspect: tuple[Loaded, Channel]) -> Laid:
    """Lay by the greatest likeness; 'none' where no capture is alike enough at any shift."""
    own = suspect[0].believed(suspect[1].number)
    whole = Pass(float(own.time_s[0]), 0.0, float(own.time_s[0]), float(own.time_s[-1]))
    passes = []
    for capture, channel in good:
        series = capture.believed(channel.number)
        found = best_shift(series, own)
        if found is None:
            return Laid("none", [], [], [], [])
        shift_s, error_s = found
        passes.append([Pass(whole.onset_s - shift_s, error_s, float(series.time_s[0]), float(series.time_s[-1]))])
    return Laid("cross-correlation", [1], [whole], passes, [1] * (len(good) + 1))


def best_shift(good: Series, suspect: Series) -> tuple[float, float] | None:
    """Find the shift that makes `good` most like `suspect`, and its half-width, s.

    Both are laid on one even grid and normalized; the correlation is taken at every shift over which at least half
    of the shorter one overlaps. The error is the half-width of the shifts whose correlation r is not significantly
    below the best, r >= best - 2 (1 - best^2) / sqrt(overlapping readings) (the standard error of a correlation
    coefficient), and at least half of the larger reading interval.

    Returns:
        None where neither varies or the best likeness is below 0.6.
    """
    known = [reading_interval(s.time_s, s.time_error_s) for s in (good, suspect)]
    intervals = [interval.interval_s for interval in known]
    lengths = [float(s.time_s[-1] - s.time_s[0]) for s in (good, suspect)]
    step_s = max(min(intervals), sum(lengths) / _GRID)
    if not step_s > 0:
        return None
    first, second = _on_grid(good, step_s), _on_grid(suspect, step_s)
    likeness, shifts = _likeness(first, second)
    if not len(likeness) or not np.isfinite(likeness).any() or np.nanmax(likeness) < _LEAST_LIKENESS:
        return None
    best = int(np.nanargmax(likeness))
    top = float(likeness[best])
    readings = min(len(first), len(second)) * step_s / max(intervals)
    as_good = np.flatnonzero(likeness >= top - 2 * (1 - top**2) / math.sqrt(max(readings, float(_LEAST_READINGS))))
    width_s = float(shifts[as_good].max() - shifts[as_good].min()) / 2 * step_s
    shift_s = float(suspect.time_s[0] - good.time_s[0]) + float(shifts[best]) * step_s
    timed_s = sum(interval.time_error_s for interval in known)
    return shift_s, max(width_s, max(intervals) / 2, step_s) + timed_s


def _on_grid(series: Series, step_s: float) -> NDArray[np.float64]:
    known = np.isfinite(series.value)
    if known.sum() < 2:
        return np.empty(0)
    grid = np.arange(series.time_s[0], series.time_s[-1], step_s)
    return np.interp(grid, series.time_s[known], _without_lone(series.value[known]))


def _without_lone(value: NDArray[np.float64]) -> NDArray[np.float64]:
    """The median of each reading and its neighbours, of shape (n,): edges stay, and one wrong reading, whose square
    would outweigh all others, goes."""
    if len(value) < 3:
        return value
    before, here, after = value[:-2], value[1:-1], value[2:]
    middle = np.maximum(np.minimum(before, here), np.minimum(np.maximum(before, here), after))
    return np.concatenate([middle[:1], middle, middle[-1:]])


def _likeness(first: NDArray[np.float64], second: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The correlation coefficient of `first` shifted by each of `shifts` steps against `second`, by FFT."""
    n, m = len(first), len(second)
    if min(n, m) < _LEAST_READINGS or np.ptp(first) == 0.0 or np.ptp(second) == 0.0:
        return np.empty(0), np.empty(0, np.int64)
    first, second = first - first.mean(), second - second.mean()
    size = 1 << (n + m - 1).bit_length()

    def slide(a: NDArray[np.float64], b: NDArray[np.float64]) -> NDArray[np.float64]:
        product = np.fft.irfft(np.conj(np.fft.rfft(a, size)) * np.fft.rfft(b, size), size)
        return np.concatenate([product[-(n - 1) :], product[:m]])

    shifts = np.arange(-(n - 1), m)
    ones, twos = np.ones(n), np.ones(m)
    count = np.round(slide(ones, twos))
    sums = slide(first, twos), slide(ones, second)
    squares = slide(first**2, twos), slide(ones, second**2)
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = [np.sqrt(np.maximum(s - t**2 / count, 0.0)) for s, t in zip(squares, sums, strict=True)]
        likeness = (slide(first, second) - sums[0] * sums[1] / count) / (spread[0] * spread[1])
    varied = [one > _LEAST_VARIATION * one.max() for one in spread]
    enough = (count >= _LEAST_OVERLAP * min(n, m)) & varied[0] & varied[1]
    return np.where(enough, np.clip(likeness, -1.0, 1.0), np.nan), shifts
