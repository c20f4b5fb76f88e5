"""The figures of a channel as a person reads them: for `analyze`, the report and the page."""

from __future__ import annotations

import math

from meterlog.signal.statistics import Statistics
from meterlog.text.figures import count, displayed, shown

HEADINGS = ("lowest", "highest", "mean", "median", "last", "slope")
"""Says what `statistics_words` gives, in its order."""

_PER = (("s", 1.0, 120.0), ("min", 60.0, 7200.0), ("h", 3600.0, float("inf")))
"""A slope is told per second, minute or hour: up to readings over so many seconds. A choice."""

_NO_CHANGE, _NO_CHANGE_COUNTS = 1e-5, 0.05
"""A slope is told as 0 where it comes to less than this share of the readings over them all, or of a count: guesses."""


def statistics_words(found: Statistics, unit: str, resolution: float) -> tuple[str, ...]:
    """The figures in words, with the display's own decimals.

    Args:
        found: the figures.
        unit: of the readings, without a prefix.
        resolution: one count of the display, in the unit; NaN where unknown.
    """
    values = [found.minimum, found.maximum, found.mean, found.median]
    last = "overload" if found.last is None and found.readings else _value(found.last, unit, resolution)
    return (*(_value(value, unit, resolution) for value in values), last, _slope(found, unit, resolution))


def left_out(found: Statistics, doubtful: int) -> str:
    """Say which readings the figures leave out; '' where that is none."""
    parts = [count(found.overloads, "overload")] if found.overloads else []
    parts += [count(doubtful, "doubtful reading")] if doubtful else []
    return " and ".join(parts)


def _value(value: float | None, unit: str, resolution: float) -> str:
    return "–" if value is None else displayed(value, unit, resolution)


def _slope(found: Statistics, unit: str, resolution: float) -> str:
    if found.slope_per_s is None or found.minimum is None or found.maximum is None:
        return "–"
    word, seconds = next((word, seconds) for word, seconds, up_to_s in _PER if found.span_s <= up_to_s)
    size = max(abs(found.minimum), abs(found.maximum))
    least = size * _NO_CHANGE if math.isnan(resolution) else resolution * _NO_CHANGE_COUNTS
    level = abs(found.slope_per_s) * found.span_s < least
    return f"{shown(0.0 if level else found.slope_per_s * seconds, unit, digits=2)}/{word}"
