"""The figure of a comparison: the suspect over the band of the known-good, and the difference below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from meterlog.compare.comparison import Band, ChannelComparison
from meterlog.drawing.palette import BLUE, GREEN, GREY, ORANGE, VERMILION
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.signal.reduce import reduce_series
from meterlog_dashboard.figures import GRID, Figure, band, layout, line, word

POINTS = 1600
_DOTS_UP_TO = 240
_MOST_EXCURSIONS = 100

Array = NDArray[np.float64]


def compare_figure(channel: ChannelComparison, one: Band, good: Sequence[tuple[str, Series]] = ()) -> Figure:
    """One pass of one channel.

    Args:
        channel: what was compared.
        one: the pass.
        good: each known-good capture's name and its readings, in the suspect's time.
    """
    found = thinned(one)
    difference = found.suspect - found.middle
    dots = "lines+markers" if len(found.time_s) <= _DOTS_UP_TO else "lines"
    edge: dict[str, Any] = {"line": {"width": 1, "color": GREEN}, "hoverinfo": "skip"}
    unit = channel.unit
    hover = f"%{{x:.2f}} s: %{{y:.4~g}} {unit}"
    low, high = found.low - found.error, found.high + found.error
    filled = {**edge, "fill": "tonexty", "fillcolor": "rgba(0,158,115,0.25)"}
    traces = [
        line(found.time_s, high, "", GREEN, **edge, showlegend=False),
        line(found.time_s, low, "known-good with all errors", GREEN, **filled),
    ]
    for number, (name, series) in enumerate(good):
        drawn = reduce_series(series, POINTS)
        colour = {"line": {"color": GREY, "width": 1.2, "dash": ("solid", "dash", "dot", "dashdot")[number % 4]}}
        traces.append(line(drawn.time_s, drawn.value, name, GREY, hovertemplate=hover, **colour))
    middle = {"line": {"color": GREEN, "dash": "dash", "width": 1.6}}
    traces.append(line(found.time_s, found.middle, "known-good", GREEN, hovertemplate=hover, **middle))
    traces.append(line(found.time_s, found.suspect, "suspect", BLUE, mode=dots, hovertemplate=hover))
    below = {"yaxis": "y2", "showlegend": False}
    traces += [
        line(found.time_s, high - found.middle, "", GREEN, **edge, **below),
        line(found.time_s, low - found.middle, "", GREEN, **filled, **below),
        line(found.time_s, difference, "suspect - known-good", VERMILION, mode=dots, hovertemplate=hover, **below),
    ]
    return {"data": traces, "layout": _layout(channel, one, found)}


def _layout(channel: ChannelComparison, one: Band, found: Band) -> dict[str, Any]:
    times = found.time_s
    made = layout(
        470, dragmode=False, showlegend=True, legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"}
    )
    made["margin"] |= {"t": 70, "b": 48}
    span = [float(times[0]), float(times[-1])] if len(times) else [0.0, 1.0]
    what = Quantity(channel.quantity).words
    shared = {"gridcolor": GRID, "zerolinecolor": GREY, "fixedrange": True, "automargin": True}
    made["xaxis"] = {"range": span, "anchor": "y2", "title": {"text": "s from the suspect's start"}, **shared}
    made["yaxis"] = {"domain": [0.42, 1], "title": {"text": f"{what}, {channel.unit}"}, **shared}
    made["yaxis2"] = {"domain": [0, 0.34], "title": {"text": f"difference, {channel.unit}"}, **shared}
    made["shapes"], made["annotations"] = [], []
    out = [e for e in channel.excursions if e.part == one.part]
    for excursion in out[:_MOST_EXCURSIONS]:
        end_s = max(excursion.end_s, excursion.start_s + 0.004 * (span[1] - span[0]))
        for axis in ("y", "y2"):
            made["shapes"].append(band(excursion.start_s, end_s, axis, ORANGE, 0.35))
    if out:
        widest = max(out, key=lambda e: e.end_s - e.start_s)
        late = widest.start_s > span[0] + 0.6 * (span[1] - span[0])
        made["annotations"].append(
            word(
                widest.end_s if late else widest.start_s,
                0.34,
                "beyond all errors",
                yanchor="top",
                xanchor="right" if late else "left",
            )
        )
    return made


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
