"""The meter in front of the vehicle: what a hand-held multimeter shows of a true signal, and when.

It averages the signal over a window before each display, has a gain error, noise, ranges with a number of counts,
overload, autoranging that takes time, hold, a low battery, and a link that can fail. On resistance it forces a current
and reads the voltage, which cannot exceed its supply: an open circuit counts as no more than a little over full scale
inside the window.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog_drivers.simulated.van.supply import Array, Span
from meterlog_drivers.simulated.van.vehicle import Signal

FINEST_RANGE = {Quantity.DC_VOLTAGE: 0.4, Quantity.DC_CURRENT: 4.0, Quantity.RESISTANCE: 400.0}
"""Full scale of the lowest range of a 4000-count meter; the others follow in decades."""

RANGES = {Quantity.DC_VOLTAGE: 5, Quantity.DC_CURRENT: 2, Quantity.RESISTANCE: 6}
"""Number of decades: to 1000 V and beyond, 40 A, 40 Mohm."""

OPEN_SHARE = 1.25
"""Counts of an open circuit on ohms, in shares of full scale (from memory, unverified)."""

FLOATING_V = 0.02
"""Size of what a 10 Mohm input picks up on a wire that hangs on nothing, V (from memory, unverified)."""

WINDOW_SHARE = 0.9
"""Share of the interval that a display averages where nothing else is said (from memory, unverified)."""

MOST_DEVIATIONS = 3.0
MOST_JITTER_SHARE = 1 / 8
"""A display's moment strays by so many standard deviations at most, each at most this share of the interval: so
displays stay in their order."""

MOST_GAIN_DEVIATIONS = 2.0
"""A gain is off by so many standard deviations at most: makers test each meter. A guess."""

LATENCY_S = 0.02
"""From the end of the averaging window to the display, s (from memory, unverified)."""


@dataclass(frozen=True, slots=True)
class MeterModel:
    """A hand-held multimeter. The defaults are those of a common small one (from memory, unverified).

    Attributes:
        interval_s: between displays, s.
        window_s: how long each display averages, s; None for nine tenths of the interval.
        jitter_s: standard deviation of a display's moment, s.
        counts: highest number the display can show.
        full_scale: the range the dial is set to must hold this, in the quantity's unit; None is autorange.
        ranging_s: what each step of autoranging takes, s; nothing is displayed meanwhile.
        gain_share: standard deviation of the gain error over meters, a share of the reading.
        noise_counts: standard deviation of the last digit's flicker.
        link_down: spans in s in which what is displayed does not get out.
        held: spans in which HOLD is pressed.
        low_battery_from_s: when the meter's own battery warning comes on, s.
    """

    interval_s: float = 0.33
    window_s: float | None = None
    jitter_s: float = 0.003
    counts: int = 4000
    full_scale: float | None = 20.0
    ranging_s: float = 0.08
    gain_share: float = 0.002
    noise_counts: float = 0.35
    link_down: tuple[Span, ...] = ()
    held: tuple[Span, ...] = ()
    low_battery_from_s: float = math.inf

    @property
    def averaging_s(self) -> float:
        """The averaging window, s."""
        return WINDOW_SHARE * self.interval_s if self.window_s is None else self.window_s

    def resolutions(self, quantity: Quantity) -> list[float]:
        """One count of each range, finest first."""
        lowest = math.floor(math.log10(FINEST_RANGE[quantity] * 1.0001 / 4000))
        shift = -1 if self.counts >= 10000 else 0
        return [float(f"1e{lowest + shift + n}") for n in range(RANGES[quantity])]

    def display_times(self, duration_s: float, rng: np.random.Generator) -> Array:
        """Give the moments of its displays in `duration_s`: a whole number of intervals, so that laps join evenly."""
        count = max(1, round(duration_s / self.interval_s))
        deviations = np.clip(rng.normal(0.0, 1.0, count), -MOST_DEVIATIONS, MOST_DEVIATIONS)
        jitter = deviations * min(self.jitter_s, MOST_JITTER_SHARE * self.interval_s)
        return self.interval_s * (np.arange(count) + 0.5) + jitter

    def observe(self, signal: Signal, times: Array, rng: np.random.Generator) -> Series:
        """Display the signal.

        Args:
            signal: what is between the probes.
            times: when to display, s from the signal's beginning, shape (n,).
            rng: where gain and noise come from.

        Returns:
            Those displays that got out over the link.
        """
        gain = 1.0 + self.gain_share * float(np.clip(rng.normal(), -MOST_GAIN_DEVIATIONS, MOST_GAIN_DEVIATIONS))
        resolutions = self.resolutions(signal.quantity)
        averaged = [gain * a for a in self._averages(signal, times, resolutions)]
        if signal.floating.any():
            pickup = FLOATING_V * rng.normal(size=len(times))
            share = _window_average(signal.floating.astype(float), signal.step_s, times, self.averaging_s)
            averaged = [a + share * pickup for a in averaged]
        flicker = self.noise_counts * rng.normal(size=len(times))
        if self.full_scale is None:
            ranges, displayed = self._autorange(times, averaged, resolutions)
        else:
            wanted = next((n for n, r in enumerate(resolutions) if r * self.counts >= self.full_scale), -1)
            ranges = np.full(len(times), wanted % len(resolutions))
            displayed = np.ones(len(times), dtype=bool)
        value = np.stack(averaged)[ranges, np.arange(len(times))]
        shown = self._shown(value, np.asarray(resolutions)[ranges], flicker)
        series = self._flagged(times, shown, np.asarray(resolutions)[ranges], signal.quantity)
        return series[displayed & ~_in_spans(times, self.link_down)]

    def _averages(self, signal: Signal, times: Array, resolutions: list[float]) -> list[Array]:
        """The averages at each display, by range: on ohms the range limits what an open circuit counts as."""
        if signal.quantity is not Quantity.RESISTANCE:
            return [_window_average(signal.value, signal.step_s, times, self.averaging_s)] * len(resolutions)
        limits = [OPEN_SHARE * self.counts * resolution for resolution in resolutions]
        clipped = (np.minimum(signal.value, limit) for limit in limits)
        return [_window_average(value, signal.step_s, times, self.averaging_s) for value in clipped]

    def _autorange(
        self, times: Array, averaged: list[Array], resolutions: list[float]
    ) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
        """The range at each display, and whether anything was displayed then.

        Up when over full scale, down below a twelfth of it (hysteresis, so that it does not hunt); the display
        that finds itself in the wrong range and those during the ranging are left out.
        """
        ranges = np.zeros(len(times), dtype=np.int64)
        displayed = np.ones(len(times), dtype=bool)
        now, busy_until = len(resolutions) // 2, -math.inf
        for k, time in enumerate(times):
            before = now
            while now < len(resolutions) - 1 and abs(averaged[now][k]) > self.counts * resolutions[now]:
                now += 1
            while now > 0 and abs(averaged[now][k]) < self.counts * resolutions[now] / 12:
                now -= 1
            if now != before:
                busy_until = time + abs(now - before) * self.ranging_s
            displayed[k] = now == before and time >= busy_until
            ranges[k] = now
        return ranges, displayed

    def _shown(self, value: Array, resolution: Array, flicker: Array) -> Array:
        counts = np.round(value / resolution + flicker)
        exponents = np.round(np.log10(resolution)).astype(int)
        shown = [float(f"{int(c)}e{e}") for c, e in zip(counts, exponents, strict=True)]
        return np.where(np.abs(counts) > self.counts, np.copysign(np.inf, value), shown) + 0.0

    def _flagged(self, times: Array, shown: Array, resolution: Array, quantity: Quantity) -> Series:
        flags = np.zeros(len(times), dtype=np.uint16)
        if quantity is not Quantity.RESISTANCE:
            flags |= np.uint16(Flag.DC)
        if self.full_scale is None:
            flags |= np.uint16(Flag.AUTORANGE)
        held = _in_spans(times, self.held)
        flags[held] |= np.uint16(Flag.HOLD)
        flags[times >= self.low_battery_from_s] |= np.uint16(Flag.LOW_BATTERY)
        kept = np.maximum.accumulate(np.where(held, 0, np.arange(len(times))))
        shown, resolution = shown[kept], resolution[kept]
        flags[np.isinf(shown)] |= np.uint16(Flag.OVERLOAD)
        return Series(times, shown, resolution.astype(np.float32), flags)


def _window_average(value: Array, step_s: float, times: Array, window_s: float) -> Array:
    """The mean over the window that ends `LATENCY_S` before each time; the signal's ends go on as they are."""
    edges = step_s * np.arange(len(value) + 1)
    integral = np.concatenate([[0.0], np.cumsum(value)]) * step_s
    last = edges[-1]

    def until(t: Array) -> Array:
        outside: Array = np.minimum(t, 0.0) * value[0] + np.maximum(t - last, 0.0) * value[-1]
        return outside + np.interp(t, edges, integral)

    end = times - LATENCY_S
    averages: Array = (until(end) - until(end - window_s)) / window_s
    return averages


def _in_spans(times: Array, spans: tuple[Span, ...]) -> NDArray[np.bool_]:
    inside = np.zeros(len(times), dtype=bool)
    for begin, end in spans:
        inside |= (times >= begin) & (times < end)
    return inside
