"""Lays captures over each other, on a prime, a crank or a marker, else by cross-correlation, with the error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.compare.capture import Capture
from meterlog.events.event import Event
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval

_LEAD_S = 1.0
_TAIL_S = 1.0
_LONGEST_S = 60.0
"""A pass runs from 1 s before its onset to 1 s after the event, or 60 s after a marker; defaults, unverified."""

MARKER_ERROR_S = 0.5
"""How far a person's marker may be from the moment meant, half-width, s; default, unverified."""

_GRID = 8192
_LEAST_LIKENESS = 0.6


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
        suspect: the suspect's passes.
        good: for each known-good capture its passes, in the same order; None where a capture lacks one.
    """

    method: str
    suspect: list[Pass]
    good: list[list[Pass]]


def lay(good: Sequence[tuple[Capture, Channel]], suspect: tuple[Capture, Channel]) -> Laid:
    """Lay the captures of one channel over each other by the surest method that all of them allow."""
    every = [suspect, *good]
    for method, passes_of in (("prime onset", _primes), ("crank onset", _cranks)):
        passes = [passes_of(capture, channel) for capture, channel in every]
        if all(passes):
            return Laid(method, passes[0], passes[1:])
    name = _shared_marker([capture for capture, _ in every])
    if name:
        passes = [_after_marker(capture, name) for capture, _ in every]
        return Laid(f"marker {name}", passes[0], passes[1:])
    return _correlate(good, suspect)


def _primes(capture: Capture, channel: Channel) -> list[Pass]:
    pulses = capture.events_of(channel, "prime_pulse")
    ends = [*(p.start_s - _LEAD_S for p in pulses[1:]), math.inf]
    return [
        Pass(p.start_s, _edge_error(capture, channel, p), p.start_s - _LEAD_S, min(p.end_s + _TAIL_S, end_s), p)
        for p, end_s in zip(pulses, ends, strict=True)
    ]


def _cranks(capture: Capture, channel: Channel) -> list[Pass]:
    return [
        Pass(c.start_s, _edge_error(capture, channel, c), c.start_s - _LEAD_S, c.end_s + _TAIL_S, c)
        for c in capture.cranks(channel)
    ]


def _edge_error(capture: Capture, channel: Channel, event: Event) -> float:
    """Half of the duration's error, which has two edges; at least half a reading interval."""
    half_s = reading_interval(capture.series(channel.number).time_s).interval_s / 2
    return max(half_s, (event.duration_error_s or 0.0) / 2)


def _shared_marker(captures: Sequence[Capture]) -> str:
    """A marker's name that every capture has: key-on, crank, then whatever the suspect has first."""
    names = [[m.name.strip().casefold() for m in capture.markers] for capture in captures]
    for name in ("key-on", "crank", *names[0]):
        if all(name in of_one for of_one in names):
            return name
    return ""


def _after_marker(capture: Capture, name: str) -> list[Pass]:
    times = [m.time_s for m in capture.markers if m.name.strip().casefold() == name]
    ends = [*(t - _LEAD_S for t in times[1:]), capture.duration_s]
    return [
        Pass(t, MARKER_ERROR_S, t - _LEAD_S, max(t, min(end_s, t + _LONGEST_S)))
        for t, end_s in zip(times, ends, strict=True)
    ]


def _correlate(good: Sequence[tuple[Capture, Channel]], suspect: tuple[Capture, Channel]) -> Laid:
    """Lay by the greatest likeness; 'none' where no capture is alike enough at any shift."""
    own = suspect[0].series(suspect[1].number)
    whole = Pass(float(own.time_s[0]), 0.0, float(own.time_s[0]), float(own.time_s[-1]))
    passes = []
    for capture, channel in good:
        series = capture.series(channel.number)
        found = best_shift(series, own)
        if found is None:
            return Laid("none", [], [])
        shift_s, error_s = found
        passes.append([Pass(whole.onset_s - shift_s, error_s, float(series.time_s[0]), float(series.time_s[-1]))])
    return Laid("cross-correlation", [whole], passes)


def best_shift(good: Series, suspect: Series) -> tuple[float, float] | None:
    """What to add to the times of `good` so that it is most like `suspect`, and its half-width, s.

    Both are laid on one even grid and normalized; the correlation is taken at every shift over which at least half
    of the shorter one overlaps. The error is the half-width of the shifts whose correlation r is not significantly
    below the best, r >= best - 2 (1 - best^2) / sqrt(overlapping readings) (the standard error of a correlation
    coefficient), and at least half of the larger reading interval.

    Returns:
        None where neither varies or the best likeness is below 0.6.
    """
    intervals = [reading_interval(s.time_s).interval_s for s in (good, suspect)]
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
    as_good = np.flatnonzero(likeness >= top - 2 * (1 - top**2) / math.sqrt(max(readings, 4.0)))
    width_s = float(shifts[as_good].max() - shifts[as_good].min()) / 2 * step_s
    shift_s = float(suspect.time_s[0] - good.time_s[0]) + float(shifts[best]) * step_s
    return shift_s, max(width_s, max(intervals) / 2, step_s)


def _on_grid(series: Series, step_s: float) -> NDArray[np.float64]:
    known = np.isfinite(series.value)
    if known.sum() < 2:
        return np.empty(0)
    grid = np.arange(series.time_s[0], series.time_s[-1], step_s)
    return np.interp(grid, series.time_s[known], series.value[known])


def _likeness(first: NDArray[np.float64], second: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The correlation coefficient of `first` shifted by each of `shifts` steps against `second`, by FFT."""
    n, m = len(first), len(second)
    if n < 4 or m < 4 or np.ptp(first) == 0.0 or np.ptp(second) == 0.0:
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
    enough = (count >= min(n, m) / 2) & (spread[0] > 1e-6 * spread[0].max()) & (spread[1] > 1e-6 * spread[1].max())
    return np.where(enough, likeness, np.nan), shifts
