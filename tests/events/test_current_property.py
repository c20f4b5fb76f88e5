"""Random currents as vehicles have them: whatever they do, what is planted is found and what is healthy stays quiet."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from meterlog.events.detect import detect, examine
from meterlog.events.live import LiveDetector
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Channel

Array = NDArray[np.float64]
CLAMP = Channel(1, "pump current", Quantity.DC_CURRENT)
STEP_S = 0.01
"""The true current is known at each of these, s."""


def shown(rng: np.random.Generator, true: Array, most: float) -> Series:
    """Read a current as a clamp does: averaged, offset that drifts, noise, rounding, either way round, some lost."""
    interval_s = float(rng.choice([0.05, 0.1, 0.25, 0.4, 0.5]))
    times = np.arange(interval_s + rng.uniform(0.0, interval_s), (len(true) - 1) * STEP_S, interval_s)
    area = np.concatenate([[0.0], np.cumsum(true[:-1]) * STEP_S])
    at = STEP_S * np.arange(len(true))
    window_s = max(float(rng.choice([0.0, 0.3, 1.0])) * interval_s, 2 * STEP_S)
    value = (np.interp(times, at, area) - np.interp(times - window_s, at, area)) / window_s
    begin, end = rng.uniform(-0.02, 0.02, 2) * most
    drift = np.linspace(begin, end, len(times))
    value = rng.choice([-1.0, 1.0]) * value + drift + rng.normal(0.0, 0.002 * most, len(times))
    count = 0.01 if most < 50.0 else 0.1
    times = times + rng.normal(0.0, 0.01 * interval_s, len(times))
    keep = rng.random(len(times)) > 0.01
    n = int(keep.sum())
    rounded = np.round(value[keep] / count) * count
    return Series(times[keep], rounded, np.full(n, count, np.float32), np.zeros(n, np.uint16))


def load(rng: np.random.Generator, seconds: float, level: float) -> Array:
    """Draw what flows in a load that is on: steady, with a motor's ripple, regulated up and down, or in steps."""
    n = int(seconds / STEP_S)
    t = STEP_S * np.arange(n)
    kind = rng.choice(["steady", "ripple", "regulated", "steps"])
    if kind == "ripple":
        return np.asarray(level * (1.0 + rng.uniform(0.05, 0.3) * np.sin(2 * np.pi * rng.uniform(0.3, 45.0) * t)))
    if kind == "regulated":
        return np.asarray(level * (0.85 + 0.15 * np.sin(2 * np.pi * t / rng.uniform(8.0, 40.0))))
    if kind == "steps":
        return np.asarray(level * rng.uniform(0.7, 1.0, 50)[(t / rng.uniform(3.0, 9.0)).astype(int) % 50])
    return np.full(n, level)


@settings(max_examples=150, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_planted_interruption_longer_than_the_blind_time_is_found(seed: int) -> None:
    rng = np.random.default_rng(seed)
    level = float(10.0 ** rng.uniform(0.0, 2.2))
    before, after = load(rng, rng.uniform(12.0, 40.0), level), load(rng, rng.uniform(5.0, 30.0), level)
    out_s = float(rng.choice([rng.uniform(0.3, 3.0), rng.uniform(3.0, 28.0)]))
    series = shown(rng, np.concatenate([before, np.zeros(int(out_s / STEP_S)), after]), level)
    events, watch = examine(CLAMP, series)
    found = [event for event in events if event.kind == "interruption"]
    if out_s > watch.shortest_visible_s:
        assert len(found) == 1
    for event in found:
        assert event.start_s - 1.0 <= len(before) * STEP_S + out_s
        assert event.end_s + 1.0 >= len(before) * STEP_S


@settings(max_examples=150, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_what_never_falls_to_a_tenth_is_not_interrupted(seed: int) -> None:
    rng = np.random.default_rng(seed)
    levels = float(10.0 ** rng.uniform(0.0, 2.0)) * rng.uniform(0.3, 1.0, int(rng.integers(1, 6)))
    true = np.concatenate([load(rng, rng.uniform(5.0, 30.0), float(level)) for level in levels])
    events = detect(CLAMP, shown(rng, true, float(levels.max())))
    assert "interruption" not in [event.kind for event in events]


@settings(max_examples=100, derandomize=True, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_what_passes_through_nothing_or_strays_about_it_is_not_interrupted(seed: int) -> None:
    """Not a battery charged and discharged by turns, nor the ripple of a float, nor a clamp without a load."""
    rng = np.random.default_rng(seed)
    t = np.arange(0.0, 90.0, STEP_S)
    size = float(10.0 ** rng.uniform(-1.0, 1.5))
    true = [
        size * np.sin(2 * np.pi * t / rng.uniform(4.0, 60.0) + rng.uniform(0.0, 6.0)),
        size * np.sin(2 * np.pi * rng.uniform(1.0, 40.0) * t),
        np.interp(t, np.linspace(0.0, 90.0, 4), rng.uniform(-0.3, 0.3, 4) * size),
        rng.choice([-1.0, 0.3, 1.0]) * size * np.sign(np.sin(2 * np.pi * t / rng.uniform(10.0, 40.0))),
    ][int(rng.integers(4))]
    events = detect(CLAMP, shown(rng, np.asarray(true), size))
    assert "interruption" not in [event.kind for event in events]


def test_the_stated_durations_cover_the_truth() -> None:
    covered = []
    for seed in range(150):
        rng = np.random.default_rng(seed)
        level = float(10.0 ** rng.uniform(0.3, 2.0))
        out_s = int(rng.uniform(1.2, 9.0) / STEP_S) * STEP_S
        true = np.concatenate([np.full(2000, level), np.zeros(round(out_s / STEP_S)), np.full(1000, level)])
        for event in detect(CLAMP, shown(rng, true, level)):
            if event.kind == "interruption" and event.duration_s is not None:
                assert event.duration_error_s is not None
                covered.append(abs(event.duration_s - out_s) <= event.duration_error_s)
    assert len(covered) >= 145
    assert np.mean(covered) >= 0.95


@pytest.mark.parametrize("batch", [1, 7])
@pytest.mark.parametrize("seed", range(60))
def test_live_and_later_agree_on_any_of_them(batch: int, seed: int) -> None:
    agree(batch, seed)


@pytest.mark.xfail(reason="live places both edges of a pulse 35 ms later, inside the error of 0.42 s that it states")
def test_live_and_later_agree_where_the_rate_is_told_apart_late() -> None:
    agree(1, 393)


def agree(batch: int, seed: int) -> None:
    """The same events, live in batches and afterwards."""
    rng = np.random.default_rng(seed)
    parts = []
    for _ in range(int(rng.integers(2, 9))):
        level = float(rng.choice([0.0, 0.0, 0.05, 0.4, 3.0, 8.0, -6.0])) * rng.uniform(0.8, 1.2)
        parts.append(load(rng, float(rng.choice([0.3, 1.0, 2.5, 8.0, 35.0])), level))
        if rng.random() < 0.3:
            parts.append(level + 8.0 * np.exp(-np.arange(40) / 10.0))
    series = shown(rng, np.concatenate(parts), 4.0)
    live = LiveDetector(CLAMP)
    readings = [
        Reading(t, v, Quantity.DC_CURRENT, 0.01, Flag.NONE)
        for t, v in zip(series.time_s.tolist(), series.value.tolist(), strict=True)
    ]
    for at in range(0, len(readings), batch):
        live.feed(readings[at : at + batch])
    live.finish()
    assert live.events == detect(
        CLAMP, Series(series.time_s, series.value, np.full(len(series), 0.01, np.float32), series.flags)
    )
