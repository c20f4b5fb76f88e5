"""Histories made up by seed, with a known change or none."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from meterlog.trends import History, Point

BEGAN = datetime(2026, 1, 1, tzinfo=UTC)
NOISE_V = 0.1


def history(
    random: np.random.Generator,
    days: int = 40,
    *,
    step_v: float = 0.0,
    slope_v: float = 0.0,
    at_day: float = 200.0,
    per_degree_v: float = 0.0,
    follows: float = 0.0,
    measure: str = "charge",
    temperatures: bool = True,
) -> History:
    """Make up a year of a measure: a level, a step or a slope (its amount at the year's end), weather and noise."""
    day = np.sort(random.choice(360, days, replace=False)) + 0.4
    temperature_c = 10.0 - 12.0 * np.cos(2 * np.pi * day / 365) + random.normal(0, 4, days)
    value = 14.0 + per_degree_v * (temperature_c - 20) + _noise(random, days, follows)
    value += step_v * (day > at_day) + slope_v * np.maximum(day - at_day, 0) / (365 - at_day)
    points = tuple(
        Point(f"{n}.sqlite", BEGAN + timedelta(days=float(d)), float(v), 0.02, float(t) if temperatures else None)
        for n, (d, v, t) in enumerate(zip(day, value, temperature_c, strict=True))
    )
    return History("van 1", "battery", measure, "V", points)


def _noise(random: np.random.Generator, days: int, follows: float) -> NDArray[np.float64]:
    fresh = random.normal(0, NOISE_V, days)
    for n in range(1, days):
        fresh[n] = follows * fresh[n - 1] + (1 - follows**2) ** 0.5 * fresh[n]
    return fresh


def seconds_of(day: float) -> float:
    """Return a day of the year as s since 1970."""
    return (BEGAN + timedelta(days=day)).timestamp()
