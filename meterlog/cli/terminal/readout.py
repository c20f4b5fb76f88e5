"""A reading as the meter's own display would show it, and a small picture of the last ones."""

from __future__ import annotations

import math
from collections.abc import Iterable

from meterlog.reading import Flag, Quantity, Reading

_PREFIXES = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "u"), (1e-9, "n"))
_PREFIXED_UNITS = ("V", "A", "ohm", "Hz", "F")
_STEPS = "▁▂▃▄▅▆▇█"
_SHOWN_FLAGS = ((Flag.HOLD, "HOLD"), (Flag.LOW_BATTERY, "meter battery low"), (Flag.RELATIVE, "REL"))


def readout(reading: Reading) -> str:
    """The value with the display's own decimals, for example `12.41 V`, `-3.4 mV`, `OL ohm`, `0.02 V HOLD`."""
    words = [amount(reading.value, reading.quantity, reading.resolution)]
    words += [word for flag, word in _SHOWN_FLAGS if reading.flags & flag]
    return " ".join(words)


def amount(value: float, quantity: Quantity, resolution: float = math.nan) -> str:
    """A value in its unit; with the decimals of the resolution where that is known, else four digits."""
    unit = quantity.unit
    if math.isnan(value):
        return f"- {unit}"
    if math.isinf(value):
        return f"{'-' if value < 0 else ''}OL {unit}"
    within_range = 0.0 if math.isnan(resolution) else 1000 * resolution  # displays have 2000 counts or more
    scale, prefix = _prefix(max(abs(value), within_range), unit)
    if math.isnan(resolution) or resolution <= 0:
        return f"{value / scale:.4g} {prefix}{unit}"
    decimals = max(0, -math.floor(math.log10(resolution / scale) + 1e-6))
    return f"{value / scale:.{decimals}f} {prefix}{unit}"


def _prefix(size: float, unit: str) -> tuple[float, str]:
    if unit not in _PREFIXED_UNITS or size == 0:
        return 1.0, ""
    for scale, prefix in _PREFIXES:
        if size >= scale * (1 - 1e-9):
            return scale, prefix
    return _PREFIXES[-1]


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
