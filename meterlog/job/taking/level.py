"""The level that a measurement has found, and what finds one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import median
from typing import Literal, NamedTuple, Protocol

from meterlog.reading import Accuracy, Reading


class Level(NamedTuple):
    """A level that was found.

    Attributes:
        value: in its quantity's unit; inf for an overload.
        error: half-width of its error band: the meter's, and how the readings scatter.
        begin_s: its first reading, on the readings' clock, s.
        end_s: its last one, s.
        words: how it came: `a prime of 2.0 s`; empty where there is nothing to say.
        nulled: the leads' own ohms are not in it.
    """

    value: float
    error: float
    begin_s: float
    end_s: float
    words: str = ""
    nulled: bool = False


Counts = Literal["soon", "late", "never"]
"""Once it has stood for the whole wait; after a warning, for another; only where the person says so."""


class LevelWatch(Protocol):
    """Finds the level of one measurement while its readings come."""

    @property
    def ready(self) -> str:
        """Return what the person may do now, as a sentence; empty while the probes are on their way."""
        ...

    @property
    def waiting_for(self) -> str:
        """Return what it still waits for, as a sentence."""
        ...

    @property
    def standing(self) -> Level | None:
        """Return the level that stands there now, whatever was waited for; None while nothing is steady."""
        ...

    @property
    def counts(self) -> Counts:
        """Tell when `standing` is the reading, where nothing else comes."""
        ...

    def feed(self, reading: Reading) -> Level | None:
        """Take a reading; the level once it is certain."""
        ...


def level_of(readings: Sequence[Reading], accuracy: Accuracy, words: str = "") -> Level:
    """Make a level of readings that belong to it: their median, with the meter's error and half of their spread."""
    values = sorted(reading.value for reading in readings)
    begin_s, end_s = readings[0].time_s, readings[-1].time_s
    middle = median(values)
    if math.isinf(middle):
        return Level(math.inf, 0.0, begin_s, end_s, words)
    cut = len(values) // 10  # a tenth at each end may be readings that averaged the edge
    inner = values[cut : len(values) - cut]
    error = math.hypot(accuracy.error(middle, readings[-1].resolution), (inner[-1] - inner[0]) / 2)
    return Level(middle, error, begin_s, end_s, words)
