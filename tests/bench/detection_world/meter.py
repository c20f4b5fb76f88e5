"""Models a digital meter and the way in which its readings reach a log.

A display looks at the signal in a window, rounds to counts of its range, and is shown at its own cadence. A change of
range takes time, in which nothing is shown, or overload once. Readings then travel: polled faster or slower than the
display, in bundles, stamped in whole seconds, with losses.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from tests.bench.detection_world.trace import Array, Mask, Rng

RANGES = (0.6, 6.0, 60.0, 600.0, 6000.0, 6e4, 6e5, 6e6, 6e7)
"""Ends of the ranges of a meter of 6000 counts."""


@dataclass(frozen=True, slots=True)
class Meter:
    """A meter and its link.

    Attributes:
        display_s: time between two looks of the display, s.
        window_s: what a look averages, s.
        noise: standard deviation of a look, in the quantity's unit.
        gain: what its scale is off by, as a factor.
        resolution: one count, where the range is fixed.
        autorange: counts and pauses follow the value.
        lowest_range: the end of the range that is finest, where it is automatic.
        ranging_s: how long a change of range takes, s.
        overload_first: a change of range upward shows overload first.
        jitter_s: how late a reading may arrive, standard deviation, s.
        poll_s: readings are asked for at this spacing and repeat the display; None: each look is sent once.
        bundle: so many readings arrive together, under one time.
        stamp_s: times are cut to this, s.
        lost: share of the readings that never arrive.
    """

    display_s: float = 0.3
    window_s: float = 0.1
    noise: float = 0.0
    gain: float = 1.0
    resolution: float = 0.01
    autorange: bool = False
    lowest_range: float = 0.6
    ranging_s: float = 0.8
    overload_first: bool = False
    jitter_s: float = 0.0
    poll_s: float | None = None
    bundle: int = 1
    stamp_s: float = 0.001
    lost: float = 0.0

    @classmethod
    def drawn(cls, rng: Rng, scale: float = 12.0, resolution: float = 0.01) -> Meter:
        """Draw some hand-held meter for values of about this scale."""
        display = float(np.exp(rng.uniform(np.log(0.08), np.log(0.5))))
        return cls(
            display_s=display,
            window_s=display * float(rng.choice([0.0, 0.2, 0.5, 0.8, 1.0])),
            noise=float(rng.choice([0.0, 0.0003, 0.001, 0.002])) * scale,
            gain=1.0 + float(rng.uniform(-0.003, 0.003)),
            resolution=resolution,
            jitter_s=float(rng.choice([0.0, 0.01, 0.04])) * display,
            lost=float(rng.choice([0.0, 0.0, 0.01])),
        )

    def but(self, **changes: object) -> Meter:
        """The same meter with other properties."""
        return replace(self, **changes)  # type: ignore[arg-type]

    @property
    def cadence_s(self) -> float:
        """The time between two fresh readings in the log, s."""
        return max(self.display_s, self.poll_s or 0.0)


@dataclass(slots=True)
class Shown:
    """Readings of one meter as they stand in the log.

    Attributes:
        true_s: when the display took the look, s; shape (n,), as the rest.
        time_s: when the log says it was.
        value: what was shown; inf is overload.
        resolution: one count.
        held: the meter said hold.
        low: the meter said that its battery is low.
    """

    true_s: Array
    time_s: Array
    value: Array
    resolution: Array
    held: Array
    low: Array

    def only(self, keep: Mask) -> Shown:
        """Those of the readings; shape (n,)."""
        return Shown(*(getattr(self, name)[keep] for name in self.__dataclass_fields__))


def read(meter: Meter, signal: Array, step_s: float, rng: Rng) -> Shown:
    """Read a signal.

    Args:
        signal: one value a step; shape (n,); inf is an open circuit.
        step_s: the grid's spacing, s.
    """
    end_s = len(signal) * step_s
    true_s = np.arange(meter.window_s + rng.uniform(0.0, meter.display_s), end_s, meter.display_s)
    value = _averaged(signal, true_s, meter.window_s, step_s) * meter.gain
    value = value + rng.normal(0.0, meter.noise, len(value)) if meter.noise else value
    shown = _ranged(meter, true_s, value) if meter.autorange else _fixed(meter, true_s, value)
    shown = _polled(meter.poll_s, shown, end_s, rng) if meter.poll_s else shown
    if meter.lost:
        shown = shown.only(rng.random(len(shown.true_s)) >= meter.lost)
    return _arrived(meter, shown, rng)


def _averaged(signal: Array, true_s: Array, window_s: float, step_s: float) -> Array:
    last = np.minimum((true_s / step_s).astype(int), len(signal) - 1)
    width = max(round(window_s / step_s), 1)
    first = np.maximum(last + 1 - width, 0)
    finite = np.isfinite(signal)
    total = np.concatenate([[0.0], np.cumsum(np.where(finite, signal, 0.0))])
    opened = np.concatenate([[0], np.cumsum(~finite)])
    mean = (total[last + 1] - total[first]) / (last + 1 - first)
    return np.where(opened[last + 1] > opened[first], np.inf, mean)


def _fixed(meter: Meter, true_s: Array, value: Array) -> Shown:
    counts = np.full(len(value), meter.resolution)
    return _plain(true_s, np.round(value / counts) * counts, counts)


def _plain(true_s: Array, value: Array, resolution: Array) -> Shown:
    none = np.zeros(len(value))
    return Shown(true_s, true_s.copy(), value, resolution, none, none.copy())


def _ranged(meter: Meter, true_s: Array, value: Array) -> Shown:
    """Follow the value with the range, with a pause at each change."""
    keep, counts, shown = np.zeros(len(value), bool), np.zeros(len(value)), value.copy()
    least = _range_of(meter.lowest_range)
    place = max(_range_of(abs(value[0])), least)
    busy_until = -1.0
    for i, x in enumerate(np.abs(value)):
        if true_s[i] < busy_until:
            continue
        wanted = max(_range_of(x), least)
        if x > RANGES[place] or (x < 0.09 * RANGES[place] and wanted < place):
            upward, place = wanted > place, wanted
            busy_until = true_s[i] + meter.ranging_s
            keep[i] = upward and meter.overload_first
            counts[i], shown[i] = RANGES[place] / 6000.0, np.inf
            continue
        keep[i], counts[i] = True, RANGES[place] / 6000.0
    grid = np.where(counts > 0.0, counts, 1.0)
    return _plain(true_s, np.round(shown / grid) * grid, grid).only(keep)


def _range_of(x: float) -> int:
    return min(int(np.searchsorted(RANGES, x)), len(RANGES) - 1)


def _polled(poll_s: float, shown: Shown, end_s: float, rng: Rng) -> Shown:
    """Ask at a spacing of the logger's own: each answer is what the display shows at that moment."""
    asked = np.arange(shown.true_s[0] + rng.uniform(0.0, poll_s), end_s, poll_s)
    at = np.searchsorted(shown.true_s, asked, side="right") - 1
    polled = Shown(*(getattr(shown, name)[at] for name in shown.__dataclass_fields__))
    polled.time_s = asked
    return polled


def _arrived(meter: Meter, shown: Shown, rng: Rng) -> Shown:
    """Give each reading the time that the log writes beside it."""
    time_s = shown.time_s + np.abs(rng.normal(0.0, meter.jitter_s, len(shown.time_s)))
    if meter.bundle > 1:
        last = np.arange(len(time_s)) // meter.bundle * meter.bundle + meter.bundle - 1
        time_s = time_s[np.minimum(last, len(time_s) - 1)]
    shown.time_s = np.maximum.accumulate(np.floor(time_s / meter.stamp_s + 1e-9) * meter.stamp_s)
    return shown
