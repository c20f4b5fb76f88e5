"""Live detection gives the list that a later analysis of the whole file gives, however the readings came."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from meterlog.events.detect import detect
from meterlog.events.live import LiveDetector
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Channel, Marker

LEVELS = {
    Quantity.DC_VOLTAGE: (0.0, 0.4, 4.0, 6.2, 9.5, 11.3, 12.6, 13.9, 14.2, 15.7, 24.0, 30.0, -12.0),
    Quantity.DC_CURRENT: (0.0, 0.0, 0.05, 0.3, 1.5, 4.0, 6.0, 11.7, -4.0, -0.3),
    Quantity.RESISTANCE: (0.3, 0.5, 40.0, 1e6, np.inf),
    Quantity.TEMPERATURE: (20.0, 25.0),
}


def random_log(rng: np.random.Generator, quantity: Quantity) -> tuple[Series, list[Marker]]:
    """Levels of random lengths and slow ways between them, now and then missing readings, flags, or overload."""
    interval = float(rng.choice([0.05, 0.2, 0.5]))
    parts = [
        np.full(int(rng.choice([1, 2, 5, 30, 200, 700])), rng.choice(LEVELS[quantity]))
        for _ in range(int(rng.integers(1, 12)))
    ]
    for k in range(1, len(parts)):
        if rng.random() < 0.3 and np.isfinite(parts[k]).all() and np.isfinite(parts[k - 1]).all():
            parts[k] = np.linspace(parts[k - 1][-1], parts[k][0], len(parts[k]))
    value = np.concatenate(parts)
    finite = np.isfinite(value)
    value[finite] = np.round(value[finite] + rng.normal(0.0, 0.02, int(finite.sum())), 2)
    n = len(value)
    spacing = interval * (1.0 + rng.normal(0.0, 0.02, n))
    spacing[rng.random(n) < 0.004] += rng.choice([0.5, 3.0, 40.0])
    flags = np.where(np.isfinite(value), 0, int(Flag.OVERLOAD)).astype(np.uint16)
    resolution = np.full(n, 0.01, np.float32)
    if rng.random() < 0.3:
        begin, end = sorted(rng.integers(0, n + 1, 2))
        flags[begin:end] |= np.uint16(rng.choice([int(Flag.HOLD), int(Flag.LOW_BATTERY)]))
        resolution[begin:] = 0.1
    flags[rng.random(n) < 0.02] |= np.uint16(Flag.DOUBTFUL)
    time_s = np.cumsum(spacing)
    markers = [
        Marker(k, float(at), str(rng.choice(["key-on", "key-off", "crank", "wiggle"])))
        for k, at in enumerate(sorted(rng.uniform(0, time_s[-1], int(rng.integers(0, 4)))))
    ]
    return Series(time_s, value, resolution, flags), markers


@settings(max_examples=80, derandomize=True)
@given(
    seed=st.integers(0, 2**32 - 1), most=st.sampled_from([1, 2, 7, 60, 3000]), quantity=st.sampled_from(list(LEVELS))
)
def test_live_and_later_analysis_agree(seed: int, most: int, quantity: Quantity) -> None:
    rng = np.random.default_rng(seed)
    series, markers = random_log(rng, quantity)
    channel = Channel(1, "feed", quantity)
    live, told, at = LiveDetector(channel), [], 0
    readings = readings_of(series, quantity)
    waiting = list(markers)
    while at < len(readings):
        part = readings[at : at + int(rng.integers(1, most + 1))]
        while waiting and waiting[0].time_s <= part[-1].time_s:
            live.marker(waiting.pop(0))
        told += live.feed(part)
        at += len(part)
    told += live.finish()
    later = detect(channel, series, markers)
    assert live.events == later
    assert sorted((e.kind, e.start_s) for e in told) == sorted((e.kind, e.start_s) for e in later)


@settings(max_examples=60, derandomize=True)
@given(seed=st.integers(0, 2**32 - 1), most=st.sampled_from([1, 7, 60]))
def test_what_dips_below_a_new_level_is_the_same_live_and_later(seed: int, most: int) -> None:
    """A supply that came back lower, and dips again before half a minute has shown that it stays there."""
    rng = np.random.default_rng(seed)
    interval = float(rng.choice([0.05, 0.25, 0.5]))
    levels = [12.6, rng.choice([0.0, 11.0]), 11.2]
    levels += [level for _ in range(int(rng.integers(1, 5))) for level in (rng.choice([8.5, 9.5, 10.0, 10.3]), 11.2)]
    spans_s = [20.0, 2.0, *rng.choice([0.3, 1.0, 4.0, 14.0, 29.0], len(levels) - 2)]
    level = np.repeat(np.array(levels, np.float64), [max(1, round(span_s / interval)) for span_s in spans_s])
    value = np.round(level + rng.normal(0.0, 0.02, len(level)), 2)
    time_s = 0.1 + interval * np.arange(len(value), dtype=np.float64)
    series = Series(time_s, value, np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16))
    channel = Channel(1, "feed", Quantity.DC_VOLTAGE)
    live, at = LiveDetector(channel), 0
    readings = readings_of(series, Quantity.DC_VOLTAGE)
    while at < len(readings):
        live.feed(readings[at : at + most])
        at += most
    live.finish()
    assert live.events == detect(channel, series, [])


@settings(max_examples=25, derandomize=True)
@given(seed=st.integers(0, 2**32 - 1), most=st.sampled_from([1, 7, 60]))
def test_fades_spikes_and_starts_are_the_same_live_and_later(seed: int, most: int) -> None:
    """Long enough for the later analysis to step over what is calm, and to look back over what sank."""
    rng = np.random.default_rng(seed)
    levels = np.repeat(rng.choice([9.0, 10.4, 11.2, 12.4, 12.6, 14.2], 6), 2)
    spans_s = rng.choice([0.2, 5.0, 30.0, 90.0, 200.0], len(levels) - 1)
    time_s = np.arange(0.1, float(spans_s.sum()), float(rng.choice([0.1, 0.25])), dtype=np.float64)
    value = np.interp(time_s, np.concatenate([[0.0], np.cumsum(spans_s)]), levels)
    for at in rng.integers(0, len(value), 3):
        value[at : at + int(rng.integers(2, 20))] -= 2.6 + 0.4 * rng.random()
    for at in rng.integers(0, len(value), 3):
        value[at : at + int(rng.integers(1, 5))] += float(rng.choice([9.0, 18.0]))
    value = np.round(value + rng.normal(0.0, 0.02, len(value)), 2)
    series = Series(time_s, value, np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16))
    channel = Channel(1, "feed", Quantity.DC_VOLTAGE)
    live = LiveDetector(channel)
    readings = readings_of(series, Quantity.DC_VOLTAGE)
    for at in range(0, len(readings), most):
        live.feed(readings[at : at + most])
    live.finish()
    assert live.events == detect(channel, series, [])


def readings_of(series: Series, quantity: Quantity) -> list[Reading]:
    columns = (series.time_s.tolist(), series.value.tolist(), series.resolution.tolist(), series.flags.tolist())
    return [Reading(t, v, quantity, r, Flag(f)) for t, v, r, f in zip(*columns, strict=True)]


@pytest.mark.parametrize(("steps", "kind", "decidable_s"), [
    ([(13, 20), (9, 2), (13, 10)], "sag", 22.0 + 1.0),
    ([(13, 20), (0, 3), (13, 10)], "dropout", 23.0),
    ([(0, 5), (12, 2), (0, 10)], "prime_pulse", 8.0),
    ([(13, 20), (0, 50)], "supply_lost", 50.0),
])  # fmt: skip
def test_an_event_is_told_within_two_intervals_of_being_decidable(
    steps: list[tuple[float, float]], kind: str, decidable_s: float
) -> None:
    """A short sag or dropout is decided when a second has passed without the next: it might be chatter."""
    interval = 0.25
    time_s = np.arange(0.1, sum(seconds for _, seconds in steps), interval)
    value = np.concatenate([np.full(round(seconds / interval), float(level)) for level, seconds in steps])
    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    for t, v in zip(time_s.tolist(), value.tolist(), strict=False):
        if any(event.kind == kind for event in live.feed([Reading(t, v, Quantity.DC_VOLTAGE, 0.01)])):
            assert t <= decidable_s + 2.5 * interval
            return
    pytest.fail(f"{kind} was never told")


def test_memory_stays_bounded_over_a_long_quiet_recording() -> None:
    import tracemalloc

    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    part = [Reading(0.1 * k, 13.0 + 0.01 * (k % 3), Quantity.DC_VOLTAGE, 0.01) for k in range(500)]
    tracemalloc.start()
    for k in range(100):
        live.feed([r._replace(time_s=r.time_s + 50.0 * k) for r in part])
    kept, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert kept < 2_000_000


@pytest.mark.parametrize(("flag", "kind"), [(Flag.HOLD, "held_display"), (Flag.LOW_BATTERY, "meter_battery_low")])
@pytest.mark.parametrize(("first", "last", "batch"), [(40, 59, 1), (41, 43, 5), (41, 48, 5)])
def test_that_readings_were_not_to_be_trusted_is_told_when_they_are_again(
    flag: Flag, kind: str, first: int, last: int, batch: int
) -> None:
    """Two seconds without the flag, since symbols blink, and two deliveries of readings."""
    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    told = []
    for begin in range(0, 120, batch):
        part = range(begin, begin + batch)
        lit = [flag if first <= k <= last else Flag.NONE for k in part]
        readings = [Reading(0.25 * k, 13.0, Quantity.DC_VOLTAGE, 0.01, f) for k, f in zip(part, lit, strict=True)]
        told += [(event, readings[-1].time_s) for event in live.feed(readings)]
    ((event, at_s),) = told
    assert event.kind == kind
    assert (event.start_s, event.end_s) == (0.25 * first, 0.25 * last)
    assert event.end_s + 2.0 < at_s <= event.end_s + 2.0 + 2 * 0.25 * batch + 0.25


def test_a_range_change_lies_between_two_neighbours_however_late_it_came() -> None:
    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    told = []
    for k in range(400):
        resolution = 0.001 if k < 300 else 0.01
        told += live.feed([Reading(0.25 * k, 3.0, Quantity.DC_VOLTAGE, resolution)])
    told += live.finish()
    assert [(e.kind, e.start_s, e.end_s) for e in told] == [("range_change", 74.75, 75.0)]


def test_a_gap_is_told_with_the_reading_that_ends_it() -> None:
    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    for k in range(100):
        assert live.feed([Reading(0.25 * k, 13.0, Quantity.DC_VOLTAGE, 0.01)]) == []
    (event,) = live.feed([Reading(30.0, 13.0, Quantity.DC_VOLTAGE, 0.01)])
    assert (event.kind, event.start_s, event.end_s) == ("gap", 24.75, 30.0)


def test_a_missing_prime_is_told_when_the_pulse_would_have_shown() -> None:
    """Three seconds to begin in, half a second to be a pulse, and a second in which it might have been interrupted."""
    live = LiveDetector(Channel(1, "feed", Quantity.DC_VOLTAGE))
    told = []
    for k in range(120):
        if k == 40:
            live.marker(Marker(1, 10.0, "key-on"))
        told += [(event.kind, 0.25 * k) for event in live.feed([Reading(0.25 * k, 0.0, Quantity.DC_VOLTAGE, 0.01)])]
    ((kind, at_s),) = told
    assert kind == "missing_prime"
    assert 13.5 <= at_s <= 16.0
