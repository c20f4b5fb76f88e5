"""The limits of what a hand-held meter can show of a quantity: a frame beyond them is damaged."""

from __future__ import annotations

import math

from meterlog.reading import Flag, Quantity

MOST_V = 4000.0
"""The highest range that any framing here names, V."""
MOST_A = 4000.0
"""More than any clamp shows, A; a guess."""
ABSOLUTE_ZERO_DEG_C = -273.15
"""By the definition of the Celsius scale (SI)."""

_RANGES = {
    Quantity.DC_VOLTAGE: (-MOST_V, MOST_V),
    Quantity.AC_VOLTAGE: (0.0, MOST_V),
    Quantity.DC_CURRENT: (-MOST_A, MOST_A),
    Quantity.AC_CURRENT: (0.0, MOST_A),
    Quantity.FREQUENCY: (0.0, math.inf),
    Quantity.DUTY_CYCLE: (0.0, 100.0),
    Quantity.TEMPERATURE: (ABSOLUTE_ZERO_DEG_C * 9 / 5 + 32, math.inf),  # in either unit
}


def possible_counts(quantity: Quantity, exponent: int, flags: Flag) -> tuple[float, float]:
    """The least and the most counts of 10**`exponent` that can be shown at all.

    There is no negative AC value, frequency or duty cycle and no duty cycle above 100 %, but in a relative display.
    """
    if flags & Flag.RELATIVE:
        return -math.inf, math.inf
    least, most = _RANGES.get(quantity, (-math.inf, math.inf))
    return least * 10.0**-exponent, most * 10.0**-exponent
