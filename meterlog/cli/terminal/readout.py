"""A reading as the meter's own display would show it, and a small picture of the last ones."""

from __future__ import annotations

import math
from collections.abc import Iterable

from meterlog.reading import Flag, Reading
from meterlog.text.figures import displayed

_STEPS = "▁▂▃▄▅▆▇█"
_SHOWN_FLAGS = ((Flag.HOLD, "HOLD"), (Flag.LOW_BATTERY, "meter battery low"), (Flag.RELATIVE, "REL"))


def readout(reading: Reading) -> str:
    """The value with the display's own decimals, for example `12.41 V`, `-3.4 mV`, `OL ohm`, `0.02 V HOLD`."""
    words = [displayed(reading.value, reading.quantity.unit, reading.resolution)]
    words += [word for flag, word in _SHOWN_FLAGS if reading.flags & flag]
    return " ".join(words)


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
