"""Makes the parts of figures: lines with their arrays packed for the browser, bands, moments, levels, words, axes.

A figure is the plain object that the drawing library takes; nothing of the library is imported.
"""

from __future__ import annotations

import base64
import html
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

Figure = dict[str, Any]

DOTS_UP_TO = 240
"""Fewer points than this are drawn as dots as well, so that each reading is seen; by eye."""


def packed(values: ArrayLike, dtype: str = "f8") -> dict[str, str]:
    """An array as the browser's drawing library reads it: 11 characters a double instead of up to 20."""
    with np.errstate(over="ignore"):  # a value beyond float32 is drawn as what has no end
        data = np.ascontiguousarray(values, dtype=f"<{dtype}").tobytes()
    return {"dtype": dtype, "bdata": base64.b64encode(data).decode()}


def line(x: ArrayLike, y: ArrayLike, name: str, colour: str, **more: Any) -> dict[str, Any]:
    """A line in steps, as a display holds a value until its next one; NaN breaks it.

    Values go as float32, which holds the 7 digits that no hand-held meter has.
    """
    return {
        "type": "scatter",
        "mode": "lines",
        "x": packed(x),
        "y": packed(y, "f4"),
        "name": html.escape(name),
        "line": {"color": colour, "width": 1.6, "shape": "hv"},
        "marker": {"color": colour, "size": 4},
        "connectgaps": False,
        **more,
    }


def band(start: float, end: float, axis: str, colour: str, opacity: float, **more: Any) -> dict[str, Any]:
    """A coloured stretch of time in one row."""
    shape = {"type": "rect", "xref": "x", "yref": f"{axis} domain", "x0": start, "x1": end, "y0": 0, "y1": 1}
    return {**shape, "fillcolor": colour, "opacity": opacity, "line": {"width": 0}, "layer": "below", **more}


def moment(time: float, yref: str, colour: str, dash: str = "dot") -> dict[str, Any]:
    """An upright line."""
    shape = {"type": "line", "xref": "x", "yref": yref, "x0": time, "x1": time, "y0": 0, "y1": 1}
    return {**shape, "line": {"color": colour, "width": 1.5, "dash": dash}}


def level(start: float, end: float, value: float, axis: str, colour: str) -> dict[str, Any]:
    """A limit: a dashed line along the time in which it holds."""
    shape = {"type": "line", "xref": "x", "yref": axis, "x0": start, "x1": end, "y0": value, "y1": value}
    return {**shape, "line": {"color": colour, "width": 1.5, "dash": "dash"}}


def word(x: float, y: float, text: str, **more: Any) -> dict[str, Any]:
    """A word in the figure; whatever was typed stays text."""
    note = {"x": x, "y": y, "xref": "x", "yref": "paper", "text": html.escape(text), "showarrow": False}
    return {**note, "xanchor": "left", "yanchor": "bottom", "font": {"size": 12}, **more}


def axis_name(letter: str, row: int) -> str:
    """The name of an axis in traces and shapes; rows count from 0."""
    return letter if row == 0 else f"{letter}{row + 1}"


def layout(height: int, **more: Any) -> dict[str, Any]:
    """Return what every figure's layout has; a constant `uirevision` keeps the person's zoom through updates."""
    return {
        "height": height,
        "margin": {"l": 52, "r": 14, "t": 30, "b": 40},
        "showlegend": False,
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 13},
        "hovermode": "closest",
        "uirevision": "kept",
        **more,
    }
