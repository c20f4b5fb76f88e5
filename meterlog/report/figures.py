"""The figures of a report: a channel with its events and markers, and a suspect over the band of the known-good.

A figure is the plain object that the drawing library takes (`data` and `layout`): building it from the library's own
classes takes a second for a hundred events.
"""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from meterlog.compare.capture import Capture
from meterlog.compare.comparison import Band, ChannelComparison, Excursion
from meterlog.drawing.palette import BLACK, BLUE, GREEN, GREY, ORANGE, kind_colour, outline
from meterlog.events.event import Event
from meterlog.reading import Quantity
from meterlog.session.model import Channel
from meterlog.signal.reduce import Drawn, reduce_series

POINTS = 1600

_MOST_MARKED = 120

Figure = dict[str, Any]


@dataclass(slots=True)
class _Sheet:
    """What is drawn over the lines of one figure; x is time in s, y runs from 0 at the bottom to 1 at the top."""

    shapes: list[dict[str, Any]] = field(default_factory=list)
    annotations: list[dict[str, Any]] = field(default_factory=list)

    def band(self, start_s: float, end_s: float, colour: str, opacity: float, bottom: float = 0.0) -> None:
        """A coloured stretch of time."""
        shape = {"type": "rect", "x0": start_s, "x1": end_s, "y0": bottom, "y1": 1, "fillcolor": colour}
        more = {"opacity": opacity, "line": {"width": 0}, "layer": "below"}
        self.shapes.append({"xref": "x", "yref": "paper", **shape, **more})

    def line(self, time_s: float, colour: str, dash: str = "solid") -> None:
        """A moment."""
        shape = {"type": "line", "x0": time_s, "x1": time_s, "y0": 0, "y1": 1}
        self.shapes.append(
            {"xref": "x", "yref": "paper", **shape, "line": {"color": colour, "width": 1.2, "dash": dash}}
        )

    def word(self, time_s: float, height: float, text: str, **more: Any) -> None:
        """A word at a moment; whatever was typed stays text."""
        note = {"x": time_s, "y": height, "text": html.escape(text), "showarrow": False, "xanchor": "left"}
        font = {"size": 11, "color": BLACK}
        self.annotations.append({"xref": "x", "yref": "paper", "yanchor": "bottom", "font": font, **note, **more})


def channel_figure(
    capture: Capture,
    channel: Channel,
    numbered: Sequence[tuple[int, Event]],
    window: tuple[float, float] | None = None,
) -> Figure:
    """One channel over time, or over a window of it, with its numbered events and the session's markers."""
    series = capture.series(channel.number)
    if window is not None:
        series = series.between(*window)
    drawn = reduce_series(series, POINTS)
    span = window or (0.0, max(capture.duration_s, 0.1))
    sheet = _Sheet()
    _shade(sheet, drawn)
    inside = [(n, e) for n, e in numbered if e.end_s >= span[0] and e.start_s <= span[1]]
    for number, event in inside[:_MOST_MARKED]:
        _mark_event(sheet, number, event)
    _mark_moments(sheet, [(m.time_s, m.name) for m in capture.markers if span[0] <= m.time_s <= span[1]], span)
    few = len(drawn.time_s) <= 240
    line = _trace(drawn.time_s, drawn.value, channel.label, BLUE, "lines+markers" if few else "lines")
    return _figure([line], sheet, f"{channel.quantity.words} in {channel.quantity.unit}", span)


def band_figure(band: Band, excursions: Sequence[Excursion], channel: ChannelComparison) -> Figure:
    """The suspect over the band of the known-good, in one pass; excursions shaded."""
    times = band.time_s
    low, high = band.low - band.error, band.high + band.error
    edge = {"line": {"color": GREEN, "width": 1}, "hoverinfo": "skip"}
    lines = [
        {**_trace(times, high, "", GREEN, "lines"), **edge, "showlegend": False},
        {
            **_trace(times, low, "band of the known-good, errors included", GREEN, "lines"),
            **edge,
            "fill": "tonexty",
            "fillcolor": "rgba(0,158,115,0.22)",
        },
        {**_trace(times, band.middle, "known-good", GREEN, "lines"), "line": {"color": GREEN, "dash": "dash"}},
        _trace(times, band.suspect, "suspect", BLUE, "lines+markers"),
    ]
    sheet = _Sheet()
    for excursion in excursions[:_MOST_MARKED]:
        sheet.band(excursion.start_s, max(excursion.end_s, excursion.start_s + 0.02), ORANGE, 0.25)
    if excursions:
        sheet.word(excursions[0].start_s, 0.0, "beyond the errors")
    span = (float(times[0]), float(times[-1])) if len(times) else (0.0, 1.0)
    figure = _figure(lines, sheet, f"{Quantity(channel.quantity).words} in {channel.unit}", span)
    figure["layout"] |= {"showlegend": True, "legend": {"orientation": "h", "y": -0.32, "x": 0}}
    return figure


def _trace(time_s: Any, value: Any, name: str, colour: str, mode: str) -> dict[str, Any]:
    return {
        "type": "scatter",
        "x": time_s,
        "y": value,
        "name": html.escape(name),
        "mode": mode,
        "line": {"color": colour, "width": 1.6},
        "marker": {"size": 4, "color": colour},
        "connectgaps": False,
        "hovertemplate": "%{x:.2f} s: %{y:.4g}<extra></extra>",
    }


def _shade(sheet: _Sheet, drawn: Drawn) -> None:
    for start_s, end_s in drawn.gaps[:_MOST_MARKED]:
        sheet.band(start_s, end_s, GREY, 0.28)
    if drawn.gaps:
        sheet.word(drawn.gaps[0][0], 0.99, "no data", yanchor="top")
    for start_s, end_s in drawn.overload:
        sheet.band(start_s, end_s, BLACK, 0.75, bottom=0.93)
    if drawn.overload:
        widest = max(drawn.overload, key=lambda span: span[1] - span[0])
        sheet.word(sum(widest) / 2, 0.91, "overload (OL)", yanchor="top", xanchor="center")


def _mark_event(sheet: _Sheet, number: int, event: Event) -> None:
    colour = kind_colour(event.kind)
    if event.end_s > event.start_s:
        sheet.band(event.start_s, event.end_s, colour, 0.16)
    sheet.line(event.start_s, outline(colour))
    bold = {"size": 12, "color": BLACK, "weight": 700}
    sheet.word(event.start_s, 0.0, str(number), font=bold, bgcolor="rgba(255,255,255,0.85)", borderpad=1)


def _mark_moments(sheet: _Sheet, moments: Sequence[tuple[float, str]], span: tuple[float, float]) -> None:
    """The markers with their names, slanted where names side by side would run into each other on a phone."""
    length_s = span[1] - span[0]
    crowded = any(after - before < 0.18 * length_s for (before, _), (after, _) in pairwise(sorted(moments)))
    for time_s, name in moments[:_MOST_MARKED]:
        short = name if len(name) <= 24 else f"{name[:23]}…"
        late = time_s > span[0] + 0.8 * length_s and not crowded
        sheet.line(time_s, BLACK, "dot")
        sheet.word(time_s, 1.0, short, xanchor="right" if late else "left", textangle=-40 if crowded else 0)


def _figure(lines: list[dict[str, Any]], sheet: _Sheet, y_title: str, span: tuple[float, float]) -> Figure:
    grid = {"gridcolor": "#e4e4e4", "automargin": True}
    layout = {
        "height": 300,
        "margin": {"l": 56, "r": 12, "t": 58, "b": 42},
        "showlegend": False,
        "dragmode": False,
        "font": {"family": "system-ui, sans-serif", "size": 12, "color": BLACK},
        "xaxis": {"title": {"text": "s from the start"}, "range": list(span), "zeroline": False, **grid},
        "yaxis": {"title": {"text": y_title}, "zerolinecolor": "#bbbbbb", **grid},
        "shapes": sheet.shapes,
        "annotations": sheet.annotations,
    }
    return {"data": lines, "layout": layout}
