"""Draws a suspect over the band of the known-good, or what was recorded after over what was recorded before."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from meterlog.comparing.comparison import Band
from meterlog.drawing.palette import BLUE, GREEN, GREY, tint
from meterlog.drawing.primitives import DOTS_UP_TO, line
from meterlog.sides import KNOWN_GOOD, Sides

POINTS = 1600
MOST_EXCURSIONS = 100
"""More than these would hide the readings; by eye."""

Array = NDArray[np.float64]


def edges(found: Band, sides: Sides, zero: Array | float = 0.0, **more: Any) -> list[dict[str, Any]]:
    """Return the two edges of the band with all errors, filled between, less `zero`."""
    ink = _ink(sides)
    edge: dict[str, Any] = {"line": {"width": 1, "color": ink, "shape": "hv"}, "hoverinfo": "skip", **more}
    return [
        line(found.time_s, found.high + found.error - zero, "", ink, **edge | {"showlegend": False}),
        line(
            found.time_s,
            found.low - found.error - zero,
            f"{sides.reference} with all errors",
            ink,
            **edge,
            fill="tonexty",
            fillcolor=tint(ink, 0.25),
        ),
    ]


def _ink(sides: Sides) -> str:
    """Return the colour of what the band is made of: green only where it is known to be good."""
    return GREEN if sides is KNOWN_GOOD else GREY


def middle_and_suspect(found: Band, hover: str, sides: Sides) -> list[dict[str, Any]]:
    """Return the two lines that are compared."""
    ink = _ink(sides)
    dashed = {"line": {"color": ink, "dash": "dash", "width": 1.6, "shape": "hv"}}
    return [
        line(found.time_s, found.middle, sides.reference, ink, hovertemplate=hover, **dashed),
        line(found.time_s, found.suspect, sides.other, BLUE, mode=dots(found), hovertemplate=hover),
    ]


def dots(found: Band) -> str:
    """Return whether readings are drawn as dots too: where they are few."""
    return "lines+markers" if len(found.time_s) <= DOTS_UP_TO else "lines"


def thinned(one: Band, points: int = POINTS) -> Band:
    """A band with at most about `points` places; each bucket keeps its extremes, so that no excursion vanishes."""
    size = len(one.time_s)
    if size <= points:
        return _finite(one)
    first = np.unique(np.linspace(0, size, points // 2, endpoint=False).astype(np.int64))
    suspect = np.where(np.isfinite(one.suspect), one.suspect, np.nan)
    pairs = {}
    for name, pick in (("lowest", np.fmin), ("highest", np.fmax)):
        pairs[name] = pick.reduceat(suspect, first)

    def both(a: Array, b: Array) -> Array:
        return np.column_stack([a, b]).ravel()

    ends = np.append(first[1:], size) - 1
    low, high = np.fmin.reduceat(one.low, first), np.fmax.reduceat(one.high, first)
    error = np.fmax.reduceat(one.error, first)
    return _finite(
        Band(
            one.part,
            both(one.time_s[first], one.time_s[ends]),
            both(pairs["lowest"], pairs["highest"]),
            both(one.middle[first], one.middle[ends]),
            np.repeat(low, 2),
            np.repeat(high, 2),
            np.repeat(error, 2),
        )
    )


def _finite(one: Band) -> Band:
    """Overload, which cannot be drawn in a line, as a break."""

    def broken(values: Array) -> Array:
        return np.where(np.isfinite(values), values, np.nan)

    return Band(
        one.part, one.time_s, broken(one.suspect), broken(one.middle), broken(one.low), broken(one.high), one.error
    )
