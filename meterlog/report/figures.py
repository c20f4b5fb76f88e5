"""The figures of a report: a channel with its events and markers, and a suspect over the band of the known-good."""

from __future__ import annotations

import html
from collections.abc import Sequence
from itertools import pairwise

import plotly.graph_objects as go

from meterlog.compare.capture import Capture
from meterlog.compare.comparison import Band, ChannelComparison, Excursion
from meterlog.events.event import Event
from meterlog.session.model import Channel
from meterlog.signal.reduce import Drawn, reduce_series

POINTS = 1600

BLUE, ORANGE, GREEN, VERMILION, GREY, BLACK = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#8a8a8a", "#222222"
"""Colours that colour-blind eyes tell apart (after Okabe and Ito); a word always says the same."""

KIND_COLOURS = {
    "prime_pulse": GREEN,
    "sag": ORANGE,
    "overvoltage": ORANGE,
    "gap": GREY,
    "held_display": GREY,
    "meter_battery_low": GREY,
    "range_change": GREY,
}
"""Kinds of events by colour; all others are `VERMILION`."""

_MOST_SHAPES = 120


def channel_figure(
    capture: Capture,
    channel: Channel,
    numbered: Sequence[tuple[int, Event]],
    window: tuple[float, float] | None = None,
) -> go.Figure:
    """One channel over time, or over a window of it, with its numbered events and the session's markers."""
    series = capture.series(channel.number)
    if window is not None:
        series = series.between(*window)
    drawn = reduce_series(series, POINTS)
    span = window or (0.0, max(capture.duration_s, 0.1))
    figure = go.Figure()
    figure.add_trace(_line(drawn, channel.label, BLUE))
    _shade(figure, drawn)
    inside = [(n, e) for n, e in numbered if e.end_s >= span[0] and e.start_s <= span[1]]
    for number, event in inside[:_MOST_SHAPES]:
        _mark_event(figure, number, event)
    markers = [m for m in capture.markers if span[0] <= m.time_s <= span[1]]
    crowded = _crowded([m.time_s for m in markers], span)
    for marker in markers[:_MOST_SHAPES]:
        late = marker.time_s > span[0] + 0.8 * (span[1] - span[0])
        _mark_moment(figure, marker.time_s, marker.name, late=late, crowded=crowded)
    _dress(figure, f"{channel.quantity.replace('_', ' ')} in {channel.quantity.unit}", span)
    return figure


def band_figure(band: Band, excursions: Sequence[Excursion], channel: ChannelComparison) -> go.Figure:
    """The suspect over the band of the known-good, in one pass; excursions shaded."""
    times = band.time_s
    figure = go.Figure()
    low, high = band.low - band.error, band.high + band.error
    figure.add_trace(go.Scatter(x=times, y=high, mode="lines", line={"width": 0}, hoverinfo="skip", showlegend=False))
    figure.add_trace(
        go.Scatter(
            x=times, y=low, mode="lines", line={"width": 0}, fill="tonexty", fillcolor="rgba(0,158,115,0.22)",
            name="band of the known-good, errors included", hoverinfo="skip",
        )
    )  # fmt: skip
    figure.add_trace(
        go.Scatter(x=times, y=band.middle, mode="lines", line={"color": GREEN, "dash": "dash"}, name="known-good")
    )
    figure.add_trace(
        go.Scatter(
            x=times, y=band.suspect, mode="lines+markers", line={"color": VERMILION}, marker={"size": 5}, name="suspect"
        )
    )
    for excursion in excursions[:_MOST_SHAPES]:
        figure.add_vrect(
            x0=excursion.start_s, x1=max(excursion.end_s, excursion.start_s + 0.02), fillcolor=ORANGE, opacity=0.25,
            line_width=0, annotation_text="beyond the errors", annotation_position="bottom left",
        )  # fmt: skip
    span = (float(times[0]), float(times[-1])) if len(times) else (0.0, 1.0)
    _dress(figure, f"{channel.quantity.replace('_', ' ')} in {channel.unit}", span)
    figure.update_layout(showlegend=True, legend={"orientation": "h", "y": -0.32, "x": 0})
    return figure


def _line(drawn: Drawn, name: str, colour: str) -> go.Scatter:
    few = len(drawn.time_s) <= 240
    return go.Scatter(
        x=drawn.time_s,
        y=drawn.value,
        mode="lines+markers" if few else "lines",
        line={"color": colour, "width": 1.6},
        marker={"size": 4},
        name=html.escape(name),
        connectgaps=False,
        hovertemplate="%{x:.2f} s: %{y:.4g}<extra></extra>",
    )


def _shade(figure: go.Figure, drawn: Drawn) -> None:
    for start_s, end_s in drawn.gaps[:_MOST_SHAPES]:
        figure.add_vrect(
            x0=start_s, x1=end_s, fillcolor=GREY, opacity=0.28, line_width=0, layer="below",
            annotation_text="no data", annotation_position="top left", annotation_font_size=11,
        )  # fmt: skip
    for start_s, end_s in drawn.overload[:_MOST_SHAPES]:
        figure.add_shape(
            type="rect", xref="x", yref="paper", x0=start_s, x1=end_s, y0=0.93, y1=1.0,
            fillcolor=BLACK, opacity=0.75, line_width=0,
        )  # fmt: skip
    if drawn.overload:
        widest = max(drawn.overload, key=lambda span: span[1] - span[0])
        figure.add_annotation(
            x=sum(widest) / 2, y=0.91, xref="x", yref="paper", yanchor="top", text="overload (OL)", showarrow=False,
            font={"size": 11, "color": BLACK},
        )  # fmt: skip


def _mark_event(figure: go.Figure, number: int, event: Event) -> None:
    colour = KIND_COLOURS.get(event.kind, VERMILION)
    if event.end_s > event.start_s:
        figure.add_vrect(x0=event.start_s, x1=event.end_s, fillcolor=colour, opacity=0.16, line_width=0, layer="below")
    figure.add_shape(
        type="line", xref="x", yref="paper", x0=event.start_s, x1=event.start_s, y0=0, y1=1,
        line={"color": colour, "width": 1.2},
    )  # fmt: skip
    figure.add_annotation(
        x=event.start_s, y=0.0, xref="x", yref="paper", xanchor="left", yanchor="bottom", text=f"<b>{number}</b>",
        showarrow=False, font={"size": 12, "color": BLACK}, bgcolor="rgba(255,255,255,0.85)", borderpad=1,
    )  # fmt: skip


def _crowded(times_s: Sequence[float], span: tuple[float, float]) -> bool:
    """Whether names side by side would run into each other on a phone."""
    near_s = 0.18 * (span[1] - span[0])
    return any(after - before < near_s for before, after in pairwise(sorted(times_s)))


def _mark_moment(figure: go.Figure, time_s: float, name: str, *, late: bool, crowded: bool) -> None:
    short = name if len(name) <= 24 else f"{name[:23]}…"
    figure.add_shape(
        type="line", xref="x", yref="paper", x0=time_s, x1=time_s, y0=0, y1=1,
        line={"color": BLACK, "width": 1, "dash": "dot"},
    )  # fmt: skip
    figure.add_annotation(
        x=time_s, y=1.0, xref="x", yref="paper", xanchor="right" if late and not crowded else "left", yanchor="bottom",
        text=html.escape(short), showarrow=False, font={"size": 11, "color": BLACK},
        textangle=-40 if crowded else 0,
    )  # fmt: skip


def _dress(figure: go.Figure, y_title: str, span: tuple[float, float]) -> None:
    figure.update_layout(
        template="none",
        height=300,
        margin={"l": 56, "r": 12, "t": 58, "b": 42},
        showlegend=False,
        dragmode=False,
        font={"family": "system-ui, sans-serif", "size": 12, "color": BLACK},
        xaxis={"title": {"text": "s from the start"}, "range": list(span), "gridcolor": "#e4e4e4", "zeroline": False},
        yaxis={"title": {"text": y_title}, "gridcolor": "#e4e4e4", "zerolinecolor": "#bbbbbb", "automargin": True},
    )
