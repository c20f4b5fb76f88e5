"""The figure of a comparison: the suspect over the band of the known-good, and the difference below it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from meterlog.comparing.comparison import Band, ChannelComparison
from meterlog.drawing.palette import GREY, GRID, ORANGE, VERMILION
from meterlog.drawing.primitives import Figure, band, layout, line, word
from meterlog.drawing.reference import MOST_EXCURSIONS, POINTS, dots, edges, middle_and_suspect, thinned
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.sides import KNOWN_GOOD, Sides
from meterlog.signal.reduce import reduce_series


def compare_figure(
    channel: ChannelComparison, one: Band, good: Sequence[tuple[str, Series]] = (), sides: Sides = KNOWN_GOOD
) -> Figure:
    """One pass of one channel.

    Args:
        channel: what was compared.
        one: the pass.
        good: each known-good capture's name and its readings, in the suspect's time.
        sides: what the two sides are called.
    """
    found = thinned(one)
    difference = found.suspect - found.middle
    hover = f"%{{x:.2f}} s: %{{y:.4~g}} {channel.unit}"
    traces = edges(found, sides)
    for number, (name, series) in enumerate(good):
        drawn = reduce_series(series, POINTS)
        colour = {
            "line": {
                "color": GREY,
                "width": 1.2,
                "dash": ("solid", "dash", "dot", "dashdot")[number % 4],
                "shape": "hv",
            }
        }
        traces.append(line(drawn.time_s, drawn.value, name, GREY, hovertemplate=hover, **colour))
    traces += middle_and_suspect(found, hover, sides)
    below: dict[str, Any] = {"yaxis": "y2", "showlegend": False}
    traces += edges(found, sides, found.middle, **below)
    shown = {"mode": dots(found), "hovertemplate": hover, **below}
    traces.append(line(found.time_s, difference, f"{sides.other} - {sides.reference}", VERMILION, **shown))
    return {"data": traces, "layout": _layout(channel, one, found, sides)}


def _layout(channel: ChannelComparison, one: Band, found: Band, sides: Sides) -> dict[str, Any]:
    times = found.time_s
    made = layout(
        470, dragmode=False, showlegend=True, legend={"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"}
    )
    made["margin"] |= {"t": 70, "b": 48}
    span = [float(times[0]), float(times[-1])] if len(times) else [0.0, 1.0]
    what = Quantity(channel.quantity).words
    shared = {"gridcolor": GRID, "zerolinecolor": GREY, "fixedrange": True, "automargin": True}
    made["xaxis"] = {
        "range": span,
        "anchor": "y2",
        "title": {"text": f"s from the start of {sides.the_other}"},
        **shared,
    }
    made["yaxis"] = {"domain": [0.42, 1], "title": {"text": f"{what}, {channel.unit}"}, **shared}
    made["yaxis2"] = {"domain": [0, 0.34], "title": {"text": f"difference, {channel.unit}"}, **shared}
    made["shapes"], made["annotations"] = [], []
    out = [e for e in channel.excursions if e.part == one.part]
    for excursion in out[:MOST_EXCURSIONS]:
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
