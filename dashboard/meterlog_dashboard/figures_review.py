"""The figures of Review: every channel in a row of its own over one time axis, and the strip with the whole session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np

from meterlog.drawing.palette import BLUE, GREY, PURPLE, VERMILION, kind_colour, outline
from meterlog.events.event import Event
from meterlog.findings.line import Line
from meterlog.kinds import KINDS
from meterlog.series import Series
from meterlog.session.model import Channel, Marker
from meterlog.signal.reduce import Drawn, reduce_series
from meterlog_dashboard.clock import Clock
from meterlog_dashboard.figures import (
    GRID,
    Figure,
    axis_name,
    band,
    layout,
    line,
    moment,
    word,
)

POINTS = 2000
STRIP_POINTS = 800
ROW_PX, LABEL_PX, TOP_PX, BOTTOM_PX = 190, 30, 64, 62
STRIP_ROW_PX = 40

_DOTS_UP_TO = 240
_MOST_EVENTS = 150
_MOST_NUMBERS = 30
_MOST_MARKERS = 60
_MOST_STRETCHES = 150


@dataclass(frozen=True, slots=True)
class Row:
    """What is drawn of one channel.

    Attributes:
        channel: as recorded.
        series: all its readings.
        events: (number in the session's list, event) of this channel.
        limits: what its findings were judged by.
    """

    channel: Channel
    series: Series
    events: Sequence[tuple[int, Event]] = ()
    limits: Sequence[Line] = ()

    @property
    def title(self) -> str:
        """Label, test point and unit."""
        label = self.channel.label or f"channel {self.channel.number}"
        point = f" at {self.channel.point}" if self.channel.point and self.channel.point != label else ""
        return f"{label}{point}, {self.channel.quantity.words} in {self.channel.quantity.unit}"


@dataclass(slots=True)
class Window:
    """What changes with the stretch of time that is shown: two traces a row, heights, and what lies over the lines."""

    traces: list[dict[str, Any]] = field(default_factory=list)
    heights: list[tuple[float, float]] = field(default_factory=list)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    words: list[dict[str, Any]] = field(default_factory=list)


def draw_window(
    rows: Sequence[Row],
    markers: Sequence[Marker],
    clock: Clock,
    span: tuple[float, float],
    chosen: int | None = None,
) -> Window:
    """What is to be seen between two times, s; `chosen` is the number of the event that stands out."""
    window = Window()
    for place, row in enumerate(rows):
        _draw_row(window, place, row, clock, span, chosen)
        title = word(0, domain(place, len(rows))[1], row.title, xref="paper", font={"size": 13, "weight": 700})
        window.words.append(title)
    _draw_markers(window, [m for m in markers if span[0] <= m.time_s <= span[1]], clock, span)
    if clock.change is not None and span[0] <= clock.change[0] <= span[1]:
        at = float(clock.ms(clock.change[0]))
        window.shapes.append(moment(at, "paper", PURPLE, "dash"))
        window.words.append(word(at, 0.0, "clocks changed", yanchor="bottom"))
    return window


def detail_figure(window: Window, rows: Sequence[Row], clock: Clock, span: tuple[float, float]) -> Figure:
    """The whole figure around a window."""
    height = TOP_PX + BOTTOM_PX + max(1, len(rows)) * ROW_PX + max(0, len(rows) - 1) * LABEL_PX
    made = layout(height, dragmode="zoom", shapes=window.shapes, annotations=window.words)
    made["margin"] |= {"t": TOP_PX, "b": BOTTOM_PX}
    made["xaxis"] = {
        "type": "date",
        "range": clock.ms(span).tolist(),
        "anchor": axis_name("y", max(0, len(rows) - 1)),
        "gridcolor": GRID,
        "title": {"text": f"time of day, {clock.zone}", "standoff": 6, "font": {"size": 12}},
        "tickangle": 0,
        "showspikes": True,
        "spikemode": "across",
        "spikethickness": 1,
        "spikecolor": GREY,
        "uirevision": 0,
    }
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


def domain(place: int, rows: int) -> tuple[float, float]:
    """Where a row lies, as shares of the plot's height from the bottom; row 0 is on top."""
    whole = rows * ROW_PX + (rows - 1) * LABEL_PX
    top = 1.0 - place * (ROW_PX + LABEL_PX) / whole
    return max(0.0, top - ROW_PX / whole), top


def strip_figure(rows: Sequence[Row], clock: Clock, whole: tuple[float, float], span: tuple[float, float]) -> Figure:
    """All of the session, small, with the stretch that is shown below as a rectangle that can be moved."""
    traces = []
    made = layout(46 + STRIP_ROW_PX * max(1, len(rows)), dragmode=False, shapes=[strip_window(clock, span, whole)])
    made["margin"] |= {"t": 4, "b": 42}
    made["xaxis"] = {
        "type": "date",
        "range": clock.ms(whole).tolist(),
        "fixedrange": True,
        "tickangle": 0,
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
    return {**shape, "fillcolor": f"rgba(0,114,178,{opacity})", "line": {"color": BLUE, "width": 2}}


def _draw_row(
    window: Window, place: int, row: Row, clock: Clock, span: tuple[float, float], chosen: int | None
) -> None:
    axis = axis_name("y", place)
    drawn = reduce_series(_with_neighbours(row.series, *span), POINTS)
    heights = _heights(drawn, row.limits)
    mode = "lines+markers" if len(drawn.time_s) <= _DOTS_UP_TO else "lines"
    unit = row.channel.quantity.unit
    hover = f"%{{x|%H:%M:%S.%2f}}: %{{y:.5~g}} {unit}<extra></extra>"
    window.traces.append(
        line(clock.ms(drawn.time_s), drawn.value, row.title, BLUE, mode=mode, yaxis=axis, hovertemplate=hover)
    )
    window.heights.append(heights)
    _draw_stretches(window, axis, drawn, clock, span)
    _draw_limits(window, axis, row.limits, clock, span, heights, unit)
    _draw_events(window, axis, row, clock, span, chosen, heights)


def _with_neighbours(series: Series, start_s: float, end_s: float) -> Series:
    """The readings of a stretch and one more at each side, so that the line goes to the edges."""
    first = max(0, int(np.searchsorted(series.time_s, start_s, "left")) - 1)
    last = int(np.searchsorted(series.time_s, end_s, "right")) + 1
    return series[first:last]


def _heights(drawn: Drawn, limits: Sequence[Line]) -> tuple[float, float]:
    """The range of the y axis: what is to be seen, not blown up beyond 2 % of its size, near limits included."""
    finite = drawn.value[np.isfinite(drawn.value)]
    if not len(finite):
        return 0.0, 1.0
    low, high = float(finite.min()), float(finite.max())
    least = max(0.02 * max(abs(low), abs(high)), 1e-12)
    if high - low < least:
        middle = (low + high) / 2
        low, high = middle - least / 2, middle + least / 2
    size = high - low
    near = [limit.level for limit in limits if low - 0.4 * size <= limit.level <= high + 0.4 * size]
    low, high = min([low, *near]), max([high, *near])
    return low - 0.14 * (high - low), high + 0.14 * (high - low)


def _draw_stretches(window: Window, axis: str, drawn: Drawn, clock: Clock, span: tuple[float, float]) -> None:
    """Stretches without data in grey, overload as a bar at the top, both named."""
    wide_s = 0.06 * (span[1] - span[0])
    for start_s, end_s in _inside(drawn.gaps, span):
        start, end = clock.ms((start_s, end_s)).tolist()
        window.shapes.append(band(start, end, axis, GREY, 0.3))
        if end_s - start_s >= wide_s or len(drawn.gaps) == 1:
            where = {"yref": f"{axis} domain", "xanchor": "center", "yanchor": "middle"}
            window.words.append(word((start + end) / 2, 0.5, "no data", **where))
    for start_s, end_s in _inside(drawn.overload, span):
        start, end = clock.ms((start_s, end_s)).tolist()
        window.shapes.append(band(start, end, axis, PURPLE, 0.85, y0=0.92, line={"width": 2, "color": PURPLE}))
    if drawn.overload:
        start_s, end_s = max(_inside(drawn.overload, span), key=lambda s: s[1] - s[0], default=(0.0, 0.0))
        at = float(clock.ms((start_s + end_s) / 2))
        where = {"yref": f"{axis} domain", "xanchor": "center", "yanchor": "top"}
        window.words.append(word(at, 0.91, "overload (OL)", **where))


def _inside(stretches: Sequence[tuple[float, float]], span: tuple[float, float]) -> list[tuple[float, float]]:
    cut = [(max(start, span[0]), min(end, span[1])) for start, end in stretches]
    return [(start, end) for start, end in cut if end >= start][:_MOST_STRETCHES]


def _draw_limits(
    window: Window,
    axis: str,
    limits: Sequence[Line],
    clock: Clock,
    span: tuple[float, float],
    heights: tuple[float, float],
    unit: str,
) -> None:
    shown = 0
    for limit in limits:
        start_s = span[0] if limit.start_s is None else max(limit.start_s, span[0])
        end_s = span[1] if limit.end_s is None else min(limit.end_s, span[1])
        if end_s <= start_s or not heights[0] <= limit.level <= heights[1] or shown >= _MOST_EVENTS:
            continue
        shown += 1
        start, end = clock.ms((start_s, end_s)).tolist()
        shape = {"type": "line", "xref": "x", "yref": axis, "x0": start, "x1": end}
        shape |= {"y0": limit.level, "y1": limit.level, "line": {"color": VERMILION, "width": 1.5, "dash": "dash"}}
        window.shapes.append(shape)
        if end_s - start_s > 0.3 * (span[1] - span[0]):
            late = (start_s + end_s) / 2 > (span[0] + span[1]) / 2
            at, side = (end, "right") if late else (start, "left")  # so that a narrow plot cuts no words off
            text = f"{limit.level:.3g} {unit}: {limit.words}"
            window.words.append(word(at, limit.level, text, yref=axis, xanchor=side))


def _draw_events(
    window: Window,
    axis: str,
    row: Row,
    clock: Clock,
    span: tuple[float, float],
    chosen: int | None,
    heights: tuple[float, float],
) -> None:
    """Each event as a coloured stretch with its number at the foot, which can be clicked."""
    inside = [(n, e) for n, e in row.events if e.end_s >= span[0] and e.start_s <= span[1]]
    few = inside[:: max(1, -(-len(inside) // _MOST_EVENTS))]
    few += [(n, e) for n, e in inside if n == chosen and (n, e) not in few]
    for number, event in few:
        start, end = clock.ms((max(event.start_s, span[0]), min(event.end_s, span[1]))).tolist()
        colour = kind_colour(event.kind)
        edge = {"color": outline(colour), "width": 3 if number == chosen else 1}
        window.shapes.append(band(start, end, axis, colour, 0.3 if number == chosen else 0.16, line=edge))
    colours = [kind_colour(e.kind) for _, e in few]
    middles = [(max(e.start_s, span[0]) + min(e.end_s, span[1])) / 2 for _, e in few]
    named = len(few) <= _MOST_NUMBERS
    window.traces.append(
        {
            "type": "scatter",
            "mode": "markers+text" if named else "markers",
            "x": clock.ms(middles).tolist(),
            "y": [heights[0] + 0.05 * (heights[1] - heights[0])] * len(few),
            "yaxis": axis,
            "text": [str(number) for number, _ in few],
            "textposition": "top center",
            "cliponaxis": False,
            "customdata": [number for number, _ in few],
            "hovertext": [f"{number}: {KINDS[e.kind].words}" for number, e in few],
            "hoverinfo": "text",
            "marker": {
                "symbol": "triangle-up",
                "size": [17 if number == chosen else 12 for number, _ in few],
                "color": colours,
                "line": {"color": [outline(colour) for colour in colours], "width": 1.5},
            },
        }
    )


def _draw_markers(window: Window, markers: Sequence[Marker], clock: Clock, span: tuple[float, float]) -> None:
    """The markers with their names above the plot, slanted where they would run into each other."""
    length_s = span[1] - span[0]
    shown = markers if len(markers) <= _MOST_MARKERS else markers[:: -(-len(markers) // _MOST_MARKERS)]
    crowded = any(after.time_s - before.time_s < 0.12 * length_s for before, after in pairwise(shown))
    named_until = -np.inf
    for marker in shown:
        at = float(clock.ms(marker.time_s))
        window.shapes.append(moment(at, "paper", PURPLE))
        if marker.time_s - named_until < 0.02 * length_s:
            continue
        named_until = marker.time_s
        name = marker.name if len(marker.name) <= 14 else f"{marker.name[:13]}…"
        late = marker.time_s > span[0] + 0.85 * length_s
        slant = {"textangle": -35} if crowded else {"xanchor": "right" if late else "center"}
        window.words.append(word(at, 1.0, name, yshift=20, **slant))
