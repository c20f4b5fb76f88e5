"""Figures as a person reads them: as many digits as are known, in a handy unit. The same rule everywhere.

Prefix: V, A and ohm are shown in milli below 0.1 (50 mV, 0.32 ohm), A in micro below 0.1 mA, ohm and Hz in kilo and
mega from 1000 up, F always with a prefix. A display that counts too coarsely for the smaller unit keeps the larger one.
Digits: the display's own where its resolution is known; else those that the error leaves; else significant ones without
zeros at the end, which would claim more than is known.
"""

from __future__ import annotations

import math

from meterlog.text.units import PREFIXES

_SHOWN_WITH = {"V": ("m", ""), "A": ("u", "m", ""), "ohm": ("m", "", "k", "M"), "Hz": ("", "k", "M")}
_SHOWN_WITH |= {"F": ("p", "n", "u", "m")}
"""The prefixes of each unit, smallest first; other units (%, degC, s) have none."""
_LEAST_SHOWN = 0.1
"""A base unit or a smaller one is left below this: a mechanic says 0.2 V, but 50 mV. By choice."""
_NEAR_ZERO_COUNTS = 100
"""A reading of fewer counts is near the bottom of its range, which then says the unit: 0.00 V, not 0 mV. A guess."""
_SIGNIFICANT_DIGITS = 3
"""Used where nothing says how exact a value is."""
_SHORT_S = 0.095
"""Below this a length of time has three decimals, s: two would leave one digit."""
_LEAST_S = 0.0005
"""Says what three decimals show at the least, s."""
_DAYS_FROM_H = 48
"""From so many hours on a length of time is said in days: by choice."""
_WAIT_LONG_S = 120.0
"""From here on tenths of a second of a wait do not matter, s: a choice."""
_OVER_99 = 0.995
"""From this probability on it is told as 'over 99 %': never as certain."""
_SLACK = 1e-6
"""Resolutions come as float32: 0.01 may be a little less."""


def shown(
    value: float, unit: str, error: float | None = None, *, digits: int = _SIGNIFICANT_DIGITS, beside: float = 0.0
) -> str:
    """A figure, for example `12.31 V +-0.09`, `32.0 mA +-0.3`, `0.42 V`; an overload is `overload`.

    Args:
        value: in the unit.
        unit: without a prefix.
        error: what the value may be off, either way; None or infinite where nothing is known of it.
        digits: significant digits where there is no error.
        beside: the largest figure that it is read beside: a value with an error has the prefix that fits that one.
    """
    if not math.isfinite(value):
        return "overload"
    if error is None or not math.isfinite(error) or error <= 0:
        return _significant(value, unit, digits)
    prefix, exponent = prefix_of(max(abs(value), error, beside), unit)
    scaled, error = value / 10.0**exponent, error / 10.0**exponent
    decimals = max(0, -_magnitude(error) + (1 if str(error).lstrip("0.")[:1] in "12" else 0))
    return f"{_rounded(scaled, decimals)} {prefix}{unit} +-{_up(error, decimals):.{decimals}f}".replace("  ", " ")


def displayed(value: float, unit: str, resolution: float = math.nan) -> str:
    """A reading with its display's decimals, for example `12.40 V`, `-3.4 mV`, `OL ohm`; `- V` where there is none.

    Args:
        value: in the unit; inf: overload, NaN: no reading.
        unit: without a prefix.
        resolution: one count of the display, in the unit; NaN or 0 where it is not known.
    """
    if math.isnan(value):
        return f"- {unit}"
    if math.isinf(value):
        return f"{'-' if value < 0 else ''}OL {unit}"
    if math.isnan(resolution) or resolution <= 0:
        return _significant(value, unit, _SIGNIFICANT_DIGITS + 1)
    prefix, exponent = prefix_of(max(abs(value), _NEAR_ZERO_COUNTS * resolution * (1 + _SLACK)), unit)
    decimals = max(0, exponent - math.floor(math.log10(resolution) + _SLACK))
    return f"{_rounded(value / 10.0**exponent, decimals)} {prefix}{unit}"


def span(first: str, last: str) -> str:
    """Two figures, the unit once where it is the same: `0.4 to 1.9 ohm`, `320 ohm to 1.8 kohm`, `12.4 V`."""
    if first == last:
        return first
    number, _, unit = first.rpartition(" ")
    return f"{number if unit == last.rpartition(' ')[2] and number else first} to {last}"


def seconds(value: float) -> str:
    """A length of time, for example `0.025 s`, `0.34 s`, `95 s`, `12 min`, `1 h 30 min`, `3 d 4 h`."""
    if value < _SHORT_S:
        return f"{value:.3f} s" if value >= _LEAST_S else "0 s"
    if value < 10:
        return f"{value:.2f} s"
    if value < 120:
        return f"{value:.0f} s"
    minutes = round(value / 60)
    if minutes < 60:
        return f"{minutes} min"
    hours = round(minutes / 60)
    if minutes < _DAYS_FROM_H * 60:
        return f"{minutes // 60} h {minutes % 60} min"
    return f"{hours // 24} d {hours % 24} h"


def wait(value: float) -> str:
    """A length of time without readings, to a tenth of a second where that matters: `1.3 s`, `95.0 s`, `12 min`."""
    return f"{value:.1f} s" if value < _WAIT_LONG_S else seconds(value)


def count(number: int, word: str) -> str:
    """A number with its noun, for example `1 dropout`, `3 dropouts`."""
    return f"{number} {word}" if number == 1 else f"{number} {word}{'es' if word.endswith('s') else 's'}"


def size(number: int) -> str:
    """A number of bytes, for example `49 kB`, `1.2 MB`."""
    return f"{number / 1e6:.1f} MB" if number >= 1e6 else f"{number / 1e3:.0f} kB"


def percent(p: float) -> str:
    """A probability for a person, for example `81 %`, `over 99 %`; never 'certain'."""
    return "over 99 %" if p > _OVER_99 else f"{100 * p:.0f} %"


def prefix_of(size: float, unit: str) -> tuple[str, int]:
    """Return the prefix for a value of that size, in a unit without one, and its power of ten: `("m", -3)`."""
    found = _SHOWN_WITH.get(unit, ("",))
    if not size:
        return ("", 0) if "" in found else (found[0], PREFIXES[found[0]])
    fitting = [p for p in found if size >= (_LEAST_SHOWN if PREFIXES[p] <= 0 else 1.0) * 10.0 ** PREFIXES[p]]
    prefix = fitting[-1] if fitting else found[0]
    return prefix, PREFIXES[prefix]


def _significant(value: float, unit: str, digits: int) -> str:
    value = float(f"{value:.{digits}g}")  # first, so that 999.6 ohm is 1 kohm
    prefix, exponent = prefix_of(abs(value), unit)
    scaled = float(f"{value}e{-exponent}") if "e" not in repr(value) else value / 10.0**exponent
    plain = _rounded(scaled, max(0, digits - 1 - _magnitude(scaled)))
    return f"{plain.rstrip('0').rstrip('.') if '.' in plain else plain} {prefix}{unit}".rstrip()


def _magnitude(value: float) -> int:
    return math.floor(math.log10(abs(value))) if value else 0


def _rounded(value: float, digits: int) -> str:
    return f"{round(value, digits) + 0.0:.{digits}f}"  # + 0.0: nobody measures -0.00 V


def _up(error: float, digits: int) -> float:
    """An error is rounded up, so that the band shown never is smaller than the band meant."""
    step = 10.0**-digits
    return math.ceil(error / step - 1e-9) * step
