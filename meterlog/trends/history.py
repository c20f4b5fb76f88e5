"""The history of one measure of one vehicle: a value a day, and what the weather does to it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DAY_S = 86_400.0

BY_WEATHER = frozenset({"crank lowest", "crank duration", "charge", "rest"})
"""Measures that change with the season by more than a fault may: without temperatures nothing is said of them.

A cold battery turns a cold engine at a lower voltage, and regulators hold it higher in the cold: from memory,
unverified.
"""


@dataclass(frozen=True, slots=True)
class Point:
    """A measure of one session.

    Attributes:
        session: its path.
        started_at: when it began.
        value: in the history's unit.
        error: half-width of its band, in that unit; much of it is the meter's and does not average out.
        temperature_c: as entered; None where it was not.
    """

    session: str
    started_at: datetime
    value: float
    error: float
    temperature_c: float | None


@dataclass(frozen=True, slots=True)
class History:
    """A measure of a vehicle over its sessions.

    Attributes:
        vehicle: as it was entered last.
        label: of the channel.
        measure: its name, as in a dataset.
        unit: of the values.
        points: in order of time.
    """

    vehicle: str
    label: str
    measure: str
    unit: str
    points: tuple[Point, ...]

    def days(self) -> Days:
        """Return a value a day: what was measured on the same day shares its conditions and is no second proof.

        Where most days have a temperature, or the weather decides, the days without one are left out.
        """
        days = [_day(points) for points in self._by_day()]
        warm = [day for day in days if day[3] is not None]
        corrected = 2 * len(warm) > len(days) or self.measure in BY_WEATHER
        kept = warm if corrected else days
        time_s, value, error = (np.array([day[i] for day in kept], float) for i in range(3))
        temperature_c = np.array([day[3] for day in kept], float) if corrected else None
        return Days(time_s, value, error, temperature_c)

    def _by_day(self) -> Iterator[list[Point]]:
        def day(point: Point) -> date:
            return point.started_at.astimezone(UTC).date()

        return (list(points) for _, points in groupby(self.points, day))


@dataclass(frozen=True, slots=True)
class Days:
    """A history with a value a day, (n,) each.

    Attributes:
        time_s: since 1970.
        value: the day's median.
        error: the same of the values' errors.
        temperature_c: the day's mean; None where it is not corrected for.
    """

    time_s: Array
    value: Array
    error: Array
    temperature_c: Array | None


def _day(points: Iterable[Point]) -> tuple[float, float, float, float | None]:
    some = list(points)
    temperatures = [point.temperature_c for point in some if point.temperature_c is not None]
    return (
        float(np.mean([point.started_at.timestamp() for point in some])),
        float(np.median([point.value for point in some])),
        float(np.median([point.error for point in some])),
        float(np.mean(temperatures)) if temperatures else None,
    )
