"""Checks that what is stated about a prime covers: read by two meters at moments of their own it is one prime."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.comparing import compare_captures
from meterlog.loaded import Loaded
from meterlog.reading import Accuracy, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel

Array = NDArray[np.float64]
ACCURACY = Accuracy(0.005, 2.0)
PAIRS = 40
FALLEN: dict[str, Callable[[Array], Array]] = {
    "flat": np.zeros_like,
    "falling": lambda x: x,
    "settling": lambda x: 1 - np.exp(-3 * x),
    "inrush": lambda x: np.exp(-12 * x),
    "rising": lambda x: 1 - x,
}
"""The share of its droop by which a prime's top is down, by the share of its length that has passed."""


def read(shape: str, droop: float, length_s: float, interval_s: float, averaged: float, seed: int) -> Loaded:
    """A prime as a meter with a gain and a zero of its own shows it."""
    rng = np.random.default_rng(seed)
    gain, zero = 1 + ACCURACY.share * rng.uniform(-1, 1), 0.01 * ACCURACY.counts * rng.uniform(-1, 1)
    time_s = rng.uniform(0, interval_s) + np.arange(0.0, 9.0, interval_s)
    since_s = time_s[:, None] - averaged * interval_s * (np.arange(20) + 0.5) / 20 - rng.uniform(3.0, 4.0)
    on = (since_s >= 0) & (since_s < length_s)
    value = np.where(on, gain * (12.4 - droop * FALLEN[shape](np.clip(since_s / length_s, 0, 1))) + zero, 0.0).mean(
        axis=1
    )
    value = np.round(value + rng.normal(0, 0.008, len(value)), 2)
    series = Series(time_s, value, np.full(len(value), 0.01, np.float32), np.zeros(len(value), np.uint16))
    channel = Channel(1, "pump feed", Quantity.DC_VOLTAGE, accuracy=ACCURACY)
    return Loaded({1: series}, [channel], details={"system_v": "12"}, duration_s=9.0)


def agreement(shape: str, pairs: int, seed: int) -> dict[str, list[bool]]:
    """Read primes of a shape twice by meters of one kind: of each measure, whether the two agree as stated."""
    rng = np.random.default_rng(seed)
    covered: dict[str, list[bool]] = {"prime level": [], "prime lowest": [], "prime duration": []}
    for pair in range(pairs):
        prime = shape, rng.uniform(0.2, 1.2), rng.uniform(1.2, 4.0)
        kind = float(rng.choice([0.1, 0.2, 0.33, 0.45])), float(rng.choice([0.05, 0.5, 1.0]))
        good, suspect = (read(*prime, *kind, seed=2 * pair + side) for side in range(2))
        rows = {row.measure: row for row in compare_captures([good], suspect).channels[0].measures}
        for name, said in covered.items():
            row = rows[name]
            assert row.difference is not None
            assert row.uncertainty is not None
            said.append(abs(row.difference) <= row.uncertainty)
    return covered


@pytest.mark.parametrize("shape", FALLEN)
def test_level_and_lowest_of_one_prime_read_twice_agree_within_what_is_stated(shape: str) -> None:
    for name, said in agreement(shape, PAIRS, seed=15).items():
        assert np.mean(said) >= 0.95, f"{name}: {np.mean(said):.2f}"
