"""The figures of Review: every channel in a row of its own over one time axis, and the strip with the whole session."""

from __future__ import annotations

import html
from collections.abc import Sequence
from textwrap import wrap
from typing import Any

from meterlog.drawing.palette import BLUE, GREY, GRID, PURPLE, tint
from meterlog.drawing.primitives import Figure, axis_name, layout, line, moment, word
from meterlog.drawing.row import LIMIT_PX, Row, TimeAxis, Window, draw_markers, draw_row
from meterlog.session.model import Marker
from meterlog.signal.reduce import reduce_series
from meterlog_dashboard.review.clock import Clock

STRIP_POINTS = 800
"""Points drawn a channel of the strip: two readings for each three pixels of a laptop. A guess."""
_TITLE_LETTERS = 42
"""A longer title goes on in a second line: so many letters fit a phone's plot. By eye."""
ROW_PX, LABEL_PX, TOP_PX, BOTTOM_PX = 190, 42, 78, 62
STRIP_ROW_PX = 40
"""Heights of a row, of its title, and of the room above and below all rows, px; by eye on a phone and a laptop."""
_MARKER_PX = 36
"""The names of markers stand so far above the first row, px: above a title of two lines."""


def draw_window(
    rows: Sequence[Row],
    markers: Sequence[Marker],
    clock: Clock,
    span: tuple[float, float],
    chosen: int | None = None,
) -> Window:
    """Draw what lies between two times, s; `chosen` is the number of the event that stands out."""
    window = Window()
    time = TimeAxis(span, clock.ms, clock.written)
    for place, row in enumerate(rows):
        draw_row(window, axis_name("y", place), row, time, chosen)
        title = word(0, domain(place, len(rows))[1], "", xref="paper", font={"size": 13, "weight": 700})
        lines = wrap(f"{row.title} in {window.units[place]}", _TITLE_LETTERS, max_lines=2, placeholder=" …")
        window.words.append(title | {"text": "<br>".join(map(html.escape, lines)), "align": "left"})
    draw_markers(window, markers, time, above_px=_MARKER_PX)
    if clock.change is not None and span[0] <= clock.change[0] <= span[1]:
        at = float(clock.ms(clock.change[0]))
        window.shapes.append(moment(at, "paper", PURPLE, "dash"))
        window.words.append(word(at, 0.0, "clocks changed", yanchor="bottom"))
    return window


def detail_figure(window: Window, rows: Sequence[Row], clock: Clock, span: tuple[float, float]) -> Figure:
    """The whole figure around a window."""
    height = TOP_PX + BOTTOM_PX + max(1, len(rows)) * ROW_PX + max(0, len(rows) - 1) * LABEL_PX
    made = layout(height, dragmode=False, shapes=window.shapes, annotations=window.words)
    made["margin"] |= {"t": TOP_PX, "b": BOTTOM_PX, "r": LIMIT_PX}
    made["xaxis"] = detail_axis(clock, span, len(rows)) | {"uirevision": 0}
    for place, height_range in enumerate(window.heights):
        made["yaxis" if place == 0 else f"yaxis{place + 1}"] = {
            "domain": list(domain(place, len(rows))),
            "range": list(height_range),
            "fixedrange": True,
            "gridcolor": GRID,
            "zerolinecolor": GRID,
            "anchor": "x",
            "nticks": 6,
        }
    return {"data": window.traces, "layout": made}


def detail_axis(clock: Clock, span: tuple[float, float], rows: int) -> dict[str, Any]:
    """The time axis below so many rows."""
    return clock.axis(span) | {
        "anchor": axis_name("y", max(0, rows - 1)),
        "gridcolor": GRID,
        "title": {"text": clock.title, "standoff": 6, "font": {"size": 12}},
        "showspikes": True,
        "spikemode": "across",
        "spikethickness": 1,
        "spikecolor": GREY,
    }


def domain(place: int, rows: int) -> tuple[float, float]:
    """The place of a row, as shares of the plot's height from the bottom; row 0 is on top."""
    whole = rows * ROW_PX + (rows - 1) * LABEL_PX
    top = 1.0 - place * (ROW_PX + LABEL_PX) / whole
    return max(0.0, top - ROW_PX / whole), top


def strip_figure(rows: Sequence[Row], clock: Clock, whole: tuple[float, float], span: tuple[float, float]) -> Figure:
    """All of the session, small, with the stretch that is shown below as a rectangle that can be moved."""
    traces = []
    made = layout(46 + STRIP_ROW_PX * max(1, len(rows)), dragmode=False, shapes=[strip_window(clock, span, whole)])
    made["margin"] |= {"t": 4, "b": 42}
    made["xaxis"] = clock.axis(whole) | {
        "fixedrange": True,
        "gridcolor": GRID,
        "anchor": axis_name("y", max(0, len(rows) - 1)),
    }
    for place, row in enumerate(rows):
        drawn = reduce_series(row.series, STRIP_POINTS)
        more = {"yaxis": axis_name("y", place), "hoverinfo": "none"}
        traces.append(line(clock.ms(drawn.time_s), drawn.value, row.title, BLUE, **more))
        share = 1.0 / len(rows)
        made["yaxis" if place == 0 else f"yaxis{place + 1}"] = {
            "domain": [1 - (place + 1) * share, 1 - place * share],
            **({"range": row.scale} if row.scale else {}),
            "fixedrange": True,
            "showticklabels": False,
            "showgrid": False,
            "zeroline": False,
            "anchor": "x",
        }
    return {"data": traces, "layout": made}


def strip_window(clock: Clock, span: tuple[float, float], whole: tuple[float, float]) -> dict[str, Any]:
    """The rectangle of the strip. It can be dragged unless it covers all: then it is paler, and by that the style
    sheet knows that a press must reach the plot below it."""
    start, end = clock.ms(span).tolist()
    opacity = 0.22 if span[1] - span[0] < 0.9 * (whole[1] - whole[0]) else 0.1
    shape = {"type": "rect", "xref": "x", "yref": "paper", "x0": start, "x1": end, "y0": 0, "y1": 1}
    return {**shape, "fillcolor": tint(BLUE, opacity), "line": {"color": BLUE, "width": 2}}
