"""One vehicle's history: its sessions in time, what has changed over them and since when, and its events.

What is measured in the background is told as it comes; nothing is judged before all of it is there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html
from dash.development.base_component import Component

from meterlog.errors import UsageError
from meterlog.session.summary import Summary, of_vehicle
from meterlog.text.figures import count
from meterlog_dashboard.frame.elements import PLOT, attributes, skeleton
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.sessions.entries import session_list
from meterlog_dashboard.vehicle.address import Shown

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.trends import Trend

_LOOK_AGAIN_MS = 500
"""While sessions are measured; a guess."""
_MOST_LISTED = 100
"""Sessions listed, the newest; a guess."""


def layout(context: Context, query: Mapping[str, str]) -> Component:
    """The history of the vehicle that the address names, with the measure that it names."""
    shown = Shown.of(query)
    sessions, reading = _sessions(context, shown.vehicle)
    if not sessions and not reading:
        return _nothing(shown.vehicle)
    content, done = _content(context, shown)
    return html.Div(
        [
            html.H1(f"History of {shown.vehicle}"),
            html.P(_span(sessions), className="soft"),
            html.Div(content, id="vehicle-content"),
            html.Details([html.Summary(_listed(len(sessions))), session_list(context, sessions[:_MOST_LISTED])]),
            dcc.Store(id="vehicle-shown", data=shown._asdict()),
            dcc.Interval(id="vehicle-tick", interval=_LOOK_AGAIN_MS, disabled=done),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """Add its callback."""

    @app.callback(
        Output("vehicle-content", "children"),
        Output("vehicle-tick", "disabled"),
        Input("vehicle-tick", "n_intervals"),
        State("vehicle-shown", "data"),
        prevent_initial_call=True,
    )
    def look_again(_: int | None, asked: dict[str, Any]) -> tuple[Any, bool]:
        if not isinstance(asked, dict) or not all(isinstance(word, str) for word in asked.values()):
            raise UsageError("what is shown of a vehicle must be texts")
        return _content(context, Shown.of(asked))


def _sessions(context: Context, vehicle: str) -> tuple[Sequence[Summary], int]:
    """The vehicle's sessions, the newest first, and how many files are not read yet."""
    listed, reading = context.listed.so_far()
    return of_vehicle(listed, vehicle), reading


def _content(context: Context, shown: Shown) -> tuple[Any, bool]:
    """Return what the sessions tell, or how far measuring them has come; and whether it is all."""
    sessions, reading = _sessions(context, shown.vehicle)
    known, left = context.measured.so_far(sessions)
    if reading or left:
        said = f"Measured {len(known)} of {count(len(known) + left, 'session')}"
        return [html.P(said, role="status"), skeleton("Measuring the sessions", 6)], False
    return _told(shown, sessions, known), True


def _told(shown: Shown, sessions: Sequence[Summary], known: Mapping[Any, Any]) -> list[Component]:
    from meterlog.trends import histories_of, judge
    from meterlog_dashboard.vehicle import figures, parts

    trends = judge(histories_of(row for one in known.values() for row in one.rows))
    held = [
        figures.Held(one.path.name, one.started_at, known[one.path].outside if one.path in known else 0)
        for one in sessions
        if one.started_at is not None
    ]
    outside = sum(bool(one.outside) for one in held)
    label = f"{count(len(held), 'session')} in time, {outside} with a finding outside its limits; listed below"
    kinds: Counter[str] = sum((one.kinds for one in known.values()), Counter())
    strip = dcc.Graph(figure=figures.strip_figure(held), config=PLOT)
    return [
        html.Div(strip, role="img", **attributes(aria_label=label)),
        html.P(
            f"Its sessions in time; 'outside': {outside} with a finding outside its limits.", className="soft small"
        ),
        html.Div(_measures(trends, shown), className="history"),
        parts.events(shown.vehicle, kinds),
    ]


def _measures(trends: Sequence[Trend], shown: Shown) -> list[Component]:
    from meterlog_dashboard.vehicle import parts

    if not trends:
        return [
            html.P("None of its sessions shows a prime, a crank, a level, a drop or a charge that could be followed.")
        ]
    of_it = [trend for trend in trends if (trend.history.label, trend.history.measure) == (shown.at, shown.measure)]
    chosen = (of_it or list(trends))[0]
    missing = bool(shown.measure) and not of_it
    note = (
        html.P(f"No session of it shows '{shown.at}, {shown.measure}' any more.", className="note") if missing else None
    )
    return [html.Div([note, parts.over_sessions(chosen)]), parts.what_changed(trends, chosen)]


def _listed(number: int) -> str:
    return f"Its sessions ({number}{f', the newest {_MOST_LISTED}' if number > _MOST_LISTED else ''})"


def _span(sessions: Sequence[Summary]) -> str:
    began = [one.started_at for one in sessions if one.started_at is not None]
    said = count(len(sessions), "session")
    return f"{said} from {min(began):%Y-%m-%d} to {max(began):%Y-%m-%d}" if began else said


def _nothing(vehicle: str) -> Component:
    said = f"No session in this folder says that it is of '{vehicle}'." if vehicle.strip() else "No vehicle is named."
    how = "A session says so by its detail 'vehicle': enter it under Record, or correct it in Review."
    return html.Div(
        [
            html.H1("History of a vehicle"),
            html.P(f"{said} {how}"),
            dcc.Link("To Sessions", href="/sessions", className="button main"),
        ]
    )
