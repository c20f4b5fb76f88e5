"""Figures as a person reads them: as many digits as the error allows, in a handy unit."""

from __future__ import annotations

import math

_PREFIXED = {"V", "A", "ohm"}


def shown(value: float, unit: str, error: float | None = None) -> str:
    """A figure, for example `12.31 V +-0.09`, `32.0 mA +-0.3`, `0.42 V`; an overload is `overload`."""
    if not math.isfinite(value):
        return "overload"
    scale, prefix = _prefix(max(abs(value), error or 0.0) if math.isfinite(error or 0.0) else value, unit)
    scaled = value * scale
    if error is None or not math.isfinite(error) or error <= 0:
        digits = max(0, 2 - _magnitude(scaled)) if scaled else 2
        return f"{_rounded(scaled, digits)} {prefix}{unit}".rstrip()
    digits = max(0, -_magnitude(error * scale) + (1 if str(error * scale).lstrip("0.")[:1] in "12" else 0))
    return f"{_rounded(scaled, digits)} {prefix}{unit} +-{_up(error * scale, digits):.{digits}f}".replace("  ", " ")


def seconds(value: float) -> str:
    """A length of time, for example `0.34 s`, `95 s`, `12 min`, `1 h 30 min`."""
    if value < 10:
        return f"{value:.2f} s"
    if value < 120:
        return f"{value:.0f} s"
    minutes = round(value / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def count(number: int, word: str) -> str:
    """A number with its noun, for example `1 dropout`, `3 dropouts`."""
    return f"{number} {word}" if number == 1 else f"{number} {word}{'es' if word.endswith('s') else 's'}"


def _prefix(value: float, unit: str) -> tuple[float, str]:
    size = abs(value)
    if unit in _PREFIXED and 0 < size < 0.1:
        return 1e3, "m"
    if unit == "ohm" and size >= 1e6:
        return 1e-6, "M"
    if unit == "ohm" and size >= 1e3:
        return 1e-3, "k"
    return 1.0, ""


def _magnitude(value: float) -> int:
    return math.floor(math.log10(abs(value))) if value else 0


def _rounded(value: float, digits: int) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f}"  # + 0.0: nobody measures -0.00 V


def _up(error: float, digits: int) -> float:
    """An error is rounded up, so that the band shown never is smaller than the band meant."""
    step = 10.0**-digits
    return math.ceil(error / step - 1e-9) * step
