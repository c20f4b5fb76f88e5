"""Figures of a circuit: overload and what is endless are open, and a fault's resistance is a band."""

from __future__ import annotations

import math

from meterlog.text import figures
from meterlog.text.figures import shown

_AS_GOOD_AS_OPEN_OHM = 1e4
"""From here on 12 V drives about 1 mA, which moves no load; a choice."""


def figure(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit: `12.3 V`, `50 mV`, `1.8 kohm`; inf is `open`."""
    return "open" if math.isinf(value) else shown(value, unit, digits=digits)


def span(low: float, high: float, unit: str, digits: int = 3) -> str:
    """Two figures, the unit once where it is the same: `0.4 to 1.9 ohm`, `320 ohm to 1.8 kohm`, `12.4 V`."""
    return figures.span(figure(low, unit, digits), figure(high, unit, digits))


def ohm_band(band: tuple[float, float] | None) -> str:
    """A fault's resistance, to follow its name: `, 0.4 to 1.9 ohm`, `, 250 kohm or more`; empty where unknown."""
    if band is None or math.isinf(band[0]):
        return ""
    if band[1] > _AS_GOOD_AS_OPEN_OHM:
        return f", {figure(band[0], 'ohm', 2)} or more"
    return f", {span(*band, 'ohm', 2)}"
