"""Displayed decimal numbers to floats, correctly rounded, and back."""

from __future__ import annotations

import math
from fractions import Fraction

from meterlog.errors import EncodeError
from meterlog.reading import Reading
from meterlog_drivers.display.possible_counts import possible_counts

_EXACT_POWERS = [10.0**n for n in range(23)]
"""Powers of ten that a float holds exactly: 10**22 is the last."""


def scaled(counts: int, exponent: int) -> float:
    """`counts` times 10**`exponent`, rounded once: the float that `float("12.34e-3")` gives.

    Up to 2**53 counts and an exponent of +-22 both operands are exact floats, so that one division or
    multiplication is correctly rounded (IEEE 754); outside of that the decimal text is converted.
    """
    if -22 <= exponent < 0 and -(2**53) <= counts <= 2**53:
        return counts / _EXACT_POWERS[-exponent]
    if 0 <= exponent <= 22 and -(2**53) <= counts <= 2**53:
        return counts * _EXACT_POWERS[exponent]
    return float(f"{counts}e{exponent}")


def celsius(counts: int, exponent: int) -> float:
    """Degrees Fahrenheit, `counts` times 10**`exponent`, as degrees Celsius, rounded once."""
    return float((Fraction(counts) * Fraction(10) ** exponent - 32) * Fraction(5, 9))


def shown_value(counts: int, exponent: int, fahrenheit: bool) -> float:
    """Convert `counts` times 10**`exponent`, as a display shows it, to the quantity's unit."""
    return celsius(counts, exponent) if fahrenheit else scaled(counts, exponent)


def one_count(exponent: int, fahrenheit: bool) -> float:
    """One count of such a display, in the quantity's unit: a degree Fahrenheit is 5/9 of one Celsius."""
    return scaled(1, exponent) * 5 / 9 if fahrenheit else scaled(1, exponent)


def resolution_exponent(resolution: float) -> int:
    """The power of ten that a display resolution is.

    Raises:
        EncodeError: it is not a power of ten (a relative 1e-6 is allowed for, sessions hold float32).
    """
    if resolution > 0 and math.isfinite(resolution):
        exponent = round(math.log10(resolution))
        if math.isclose(10.0**exponent, resolution, rel_tol=1e-6):
            return exponent
    raise EncodeError(f"a resolution of {resolution:g} is not one count of a decimal display")


def display_counts(reading: Reading, exponent: int, digits: int) -> int:
    """The counts with which a display of so many digits shows a finite reading; 0 for an overload.

    Raises:
        EncodeError: it has more digits, or no meter shows such a value.
    """
    if not math.isfinite(reading.value):
        return 0
    counts = counts_at(reading.value, exponent)
    least, most = possible_counts(reading.quantity, exponent, reading.flags)
    if not least <= counts <= most:
        raise EncodeError(f"no meter shows {reading.value:g} as {reading.quantity}")
    if abs(counts) >= 10**digits:
        raise EncodeError(f"{reading.value:g} with a resolution of {reading.resolution:g} has over {digits} digits")
    return counts


def counts_at(value: float, exponent: int) -> int:
    """The display count nearest to a finite `value` when one count is 10**`exponent`."""
    return round(value * 10.0**-exponent) if exponent <= 0 else round(value / 10.0**exponent)
