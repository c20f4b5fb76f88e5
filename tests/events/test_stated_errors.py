"""The error that is stated of a duration: it holds, and it is no larger than the readings leave it.

One event a log, at a random place between the readings, of a random length; readings stray by 20 mV and their time
stamps by 5 ms. An overvoltage ends with the first reading below its limit, which may be partial. Medians are over the
logs of one kind and one kind of meter, in reading intervals.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from meterlog.events.detect import detect
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

Log = Callable[..., Series]
INTERVAL_S = 0.25
LOGS = 40
LEVELS = {"prime_pulse": (0.3, 12.4), "dropout": (13.0, 0.3), "sag": (13.0, 9.4), "overvoltage": (14.0, 15.8)}


@pytest.mark.parametrize(
    ("kind", "window", "most_off", "least_stated", "most_stated"),
    [
        ("prime_pulse", 0.0, 0.28, 0.80, 0.88),
        ("dropout", 0.0, 0.28, 0.80, 0.88),
        ("sag", 0.0, 0.28, 0.80, 0.88),
        ("overvoltage", 0.0, 0.28, 0.80, 0.88),
        ("prime_pulse", 1.0, 0.07, 0.30, 0.37),
        ("dropout", 1.0, 0.07, 0.30, 0.37),
        ("sag", 1.0, 0.07, 0.30, 0.37),
        ("overvoltage", 1.0, 0.12, 0.50, 0.65),
    ],
)
def test_a_stated_error_holds_and_is_no_larger_than_it_must_be(
    log: Log, kind: str, window: float, most_off: float, least_stated: float, most_stated: float
) -> None:
    rng = np.random.default_rng(20)
    rest, there = LEVELS[kind]
    off, stated = [], []
    for _ in range(LOGS):
        begin_s, length_s = 15.0 + rng.uniform(0.0, INTERVAL_S), rng.uniform(1.5, 4.0)
        plain = log([(rest, begin_s), (there, length_s), (rest, 15.0)], INTERVAL_S, window, rng.uniform(0.0, 0.2))
        n = len(plain)
        value = np.abs(np.round(plain.value + rng.normal(0.0, 0.02, n), 2))
        time_s = plain.time_s + rng.normal(0.0, 0.005, n)
        (event,) = detect(Channel(1, "feed", Quantity.DC_VOLTAGE), replace(plain, time_s=time_s, value=value))
        assert event.kind == kind
        assert event.level == pytest.approx(there, abs=0.06)
        assert event.start_s == pytest.approx(begin_s, abs=INTERVAL_S)
        assert event.duration_s is not None
        assert event.duration_error_s is not None
        off.append(abs(event.duration_s - length_s) / INTERVAL_S)
        stated.append(event.duration_error_s / INTERVAL_S)
    assert np.mean(np.array(off) <= stated) >= 0.95
    assert np.median(off) <= most_off
    assert least_stated <= np.median(stated) <= most_stated


@pytest.mark.parametrize("window", [0.0, 0.5, 1.0])
def test_a_prime_that_spins_down_is_covered_from_the_switch_to_the_mid_level(window: float) -> None:
    """Once 94 of 100: the first reading of the decay was taken for a partial one, which placed the edge too early."""
    rng, covered, stated = np.random.default_rng(21), 0, []
    for _ in range(200):
        interval_s, constant_s, held = rng.uniform(0.08, 0.4), rng.uniform(0.03, 0.35), rng.uniform(0.55, 1.0)
        begin_s, off_s = 5.0 + rng.uniform(0.0, 0.5), 7.5 + rng.uniform(0.0, 1.5)
        fine_s = np.arange(0.0, 14.0, 0.002)
        value = np.where((fine_s >= begin_s) & (fine_s < off_s), 12.0, 0.0)
        value += np.where(fine_s >= off_s, 12.0 * held * np.exp(-np.maximum(fine_s - off_s, 0.0) / constant_s), 0.0)
        width = max(1, round(window * interval_s / 0.002))
        value = np.convolve(value, np.full(width, 1.0 / width))[: len(fine_s)]
        at = np.arange(round(interval_s / 0.002), len(fine_s), round(interval_s / 0.002))
        shown = np.round(value[at] + rng.normal(0.0, 0.01, len(at)), 2)
        n = len(at)
        series = Series(fine_s[at], shown, np.full(n, 0.01, np.float32), np.zeros(n, np.uint16))
        (event,) = detect(Channel(1, "pump feed", Quantity.DC_VOLTAGE), series)
        middle_s = off_s + constant_s * max(np.log(held / 0.5), 0.0)
        assert event.duration_s is not None
        assert event.duration_error_s is not None
        longest_s, shortest_s = middle_s - begin_s, off_s - begin_s
        near_s = min(max(event.duration_s, shortest_s), longest_s)
        covered += abs(event.duration_s - near_s) <= event.duration_error_s
        stated.append(event.duration_error_s / interval_s)
    assert covered >= 190
    assert np.median(stated) <= 0.9
