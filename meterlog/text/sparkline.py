"""A small picture of a few values, in one line of text."""

from __future__ import annotations

import math
from collections.abc import Iterable

_STEPS = "▁▂▃▄▅▆▇█"


def sparkline(values: Iterable[float]) -> str:
    """One character a value, between the least and the greatest of them; overload is `^`, nothing is a space."""
    values = list(values)
    finite = [value for value in values if math.isfinite(value)]
    low = min(finite, default=0.0)
    span = max(finite, default=0.0) - low
    if span == 0:
        return "".join("▄" if math.isfinite(value) else _odd(value) for value in values)
    top = len(_STEPS) - 1
    return "".join(
        _STEPS[round((value - low) / span * top)] if math.isfinite(value) else _odd(value) for value in values
    )


def _odd(value: float) -> str:
    return " " if math.isnan(value) else "^"
