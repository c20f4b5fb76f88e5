"""Two cursors over the curves: what every channel showed at each, and the difference with its error."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.comparing.combine import combined
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval
from meterlog.text.figures import displayed, seconds, shown
from meterlog_dashboard.frame.elements import attributes, table
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.review.clock import Clock

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

_OLD_INTERVALS, _OLD_S = 4.0, 1.0
"""A reading that stands for more than both was followed by a gap: it says nothing of a place in there."""


def handles() -> list[Component]:
    """The cursors themselves, which `cursors.js` places."""
    return [
        html.Div(
            html.Span(name),
            id=f"cursor-{name.lower()}",
            className="cursor",
            hidden=True,
            role="slider",
            tabIndex="0",
            **attributes(aria_label=f"Cursor {name}", aria_valuemin="0", aria_valuemax="0", aria_valuenow="0"),
        )
        for name in ("A", "B")
    ]


def parts() -> list[Component]:
    """Return what they measure."""
    return [dcc.Store(id="review-cursors"), html.Div(id="measured", role="status")]


def register(app: Dash, context: Context) -> None:
    """Add its callback."""

    @app.callback(
        Output("measured", "children"),
        Input("review-cursors", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def measure(at: list[float] | None, name: str) -> Component | None:
        if not at:
            return None
        if len(at) != 2 or not all(isinstance(one, int | float) and math.isfinite(one) for one in at):
            raise PreventUpdate
        return measured(context.opened.loaded(name), (float(at[0]), float(at[1])))


def measured(session: Loaded, at: tuple[float, float]) -> Component:
    """The table of both cursors, s from the session's start."""
    clock = Clock(session.started_at, session.duration_s)
    rows = [_row(channel, session.series(channel.number), at) for channel in session.channels]
    a, b = (f"{name}: {clock.words(time_s)} ({time_s:.2f} s)" for name, time_s in zip("AB", at, strict=True))
    words = html.P([html.Strong(f"B − A: {_time_words(at)}"), f", {a}, {b}"], className="measured-times")
    listed = table(("channel", "at A", "at B", "B − A", "time between changes"), rows, "Measured between the cursors")
    return html.Div([words, listed], className="panel")


def _time_words(at: tuple[float, float]) -> str:
    length_s = at[1] - at[0]
    return f"{'−' if length_s < 0 else ''}{seconds(abs(length_s))}"


def _row(channel: Channel, series: Series, at: tuple[float, float]) -> Component:
    unit, interval_s = channel.quantity.unit, reading_interval(series.time_s).interval_s
    places = [reading_at(series, time_s, interval_s) for time_s in at]
    cells = [_shown(series, place, unit) for place in places]
    apart = f"±{seconds(interval_s)}" if interval_s > 0 else "–"  # a change lies between two readings, at either end
    texts = (*cells, difference(channel, series, places), apart)
    return html.Tr([html.Th(channel.name, scope="row"), *(html.Td(text) for text in texts)])


def reading_at(series: Series, time_s: float, interval_s: float) -> int | None:
    """Return the place of the reading that stood on the display at a time; None before the first and within a gap."""
    place = int(series.time_s.searchsorted(time_s, "right")) - 1
    lasting_s = max(_OLD_S, _OLD_INTERVALS * interval_s) if interval_s > 0 else _OLD_S
    return place if place >= 0 and time_s - float(series.time_s[place]) <= lasting_s else None


def difference(channel: Channel, series: Series, places: list[int | None]) -> str:
    """The second reading less the first, with the errors of both by the meter's stated accuracy."""
    if None in places:
        return "–"
    values = [float(series.value[place]) for place in places if place is not None]
    if not all(map(math.isfinite, values)):
        return "–"
    counts = [float(series.resolution[place]) for place in places if place is not None]
    errors = [channel.accuracy.error(value, count) for value, count in zip(values, counts, strict=True)]
    return shown(values[1] - values[0], channel.quantity.unit, combined(*errors)).replace("+-", "±")


def _shown(series: Series, place: int | None, unit: str) -> str:
    return (
        "no reading" if place is None else displayed(float(series.value[place]), unit, float(series.resolution[place]))
    )
