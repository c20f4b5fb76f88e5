"""Works out what a copper wire has, from its cross-section and length."""

from __future__ import annotations

import math
import re

COPPER_OHM_M = 1.724e-8
"""Resistivity of annealed copper at 20 degC, ohm m (the annealed-copper standard, IEC 60028)."""
_GAUGE = re.compile(r"(?P<number>\d+(?:[.,]\d+)?)\s*(?P<unit>mm2|mm²|mm|awg)?", re.IGNORECASE)


def copper_ohm(length_m: float, area_mm2: float) -> float:
    """Return the resistance of one copper conductor at 20 degC, ohm: resistivity * length / cross-section.

    A strand's lay and heat add some percent (0.393 % a degree), a wire under a bonnet about a third.
    """
    return COPPER_OHM_M * length_m / (area_mm2 * 1e-6)


def awg_mm2(number: float) -> float:
    """Return the cross-section of an American wire gauge, mm2: diameter 0.127 mm * 92^((36 - n) / 39) (definition)."""
    diameter_mm = 0.127 * math.pow(92.0, (36.0 - number) / 39.0)
    return math.pi / 4 * diameter_mm**2


def typed_gauge_mm2(text: str) -> float | None:
    """Return a wire's cross-section as a person writes it, mm2: `1.5`, `0,75 mm2`, `16 AWG`; None where it is none."""
    match = _GAUGE.fullmatch(text.strip())
    if match is None:
        return None
    number = float(match["number"].replace(",", "."))
    return awg_mm2(number) if (match["unit"] or "").casefold() == "awg" else number
