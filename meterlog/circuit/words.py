"""Figures of a circuit as a person writes them: no powers of ten, but kohm and Mohm."""

from __future__ import annotations

import math

_AS_GOOD_AS_OPEN_OHM = 1e4


def figure(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit to so many digits, no zeros at the end: `12.3 V`, `0.05 V`, `1.8 kohm`; inf is `open`."""
    if math.isinf(value):
        return "open"
    rounded = float(f"{value:.{digits}g}")
    scale, prefix = 1.0, ""
    if unit == "ohm" and abs(rounded) >= 1e3:
        scale, prefix = (1e6, "M") if abs(rounded) >= 1e6 else (1e3, "k")
    elif 1e-6 <= abs(rounded) < 1e-3:
        scale, prefix = 1e-3, "m"
    scaled = float(f"{rounded / scale:.{digits}g}")
    plain = f"{scaled:.6f}".rstrip("0").rstrip(".") if abs(scaled) < 1e15 else f"{scaled:.0e}"
    return f"{'0' if plain == '-0' else plain} {prefix}{unit}"


def span(low: float, high: float, unit: str, digits: int = 3) -> str:
    """Two figures, the unit once where it is the same: `0.4 to 1.9 ohm`, `320 ohm to 1.8 kohm`, `12.4 V`."""
    first, last = figure(low, unit, digits), figure(high, unit, digits)
    if first == last:
        return first
    alike = first.endswith(f" {unit}") and last.endswith(f" {unit}")
    return f"{first.removesuffix(f' {unit}') if alike else first} to {last}"


def ohm_band(band: tuple[float, float] | None) -> str:
    """A fault's resistance, to follow its name: `, 0.4 to 1.9 ohm`, `, 250 kohm or more`; empty where unknown."""
    if band is None or math.isinf(band[0]):
        return ""
    if band[1] > _AS_GOOD_AS_OPEN_OHM:
        return f", {figure(band[0], 'ohm', 2)} or more"
    return f", {span(*band, 'ohm', 2)}"
