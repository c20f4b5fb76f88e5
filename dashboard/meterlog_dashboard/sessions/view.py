"""The sessions of the folder, with search; and under each one's address its Review, under a vehicle's its history."""

from __future__ import annotations

from collections.abc import Mapping

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from meterlog.session.names import SUFFIX
from meterlog.session.summary import holding
from meterlog.text.figures import count
from meterlog_dashboard.aside.acts import archived_list, put_back_list
from meterlog_dashboard.aside.archive import newest
from meterlog_dashboard.aside.sessions import removed
from meterlog_dashboard.downloads import routes as downloads
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.review import page as review_page
from meterlog_dashboard.sessions.entries import session_list, vehicles
from meterlog_dashboard.vehicle import page as vehicle_page

PATH = "/sessions"
TITLE = "Sessions"

_A_PAGE = 100
"""Sessions listed at first, and more with each press; a guess."""
_MOST_ARCHIVED = 100
"""Archived sessions that are offered; a guess."""
_LOOK_AGAIN_MS = 700
"""While files are still read, the list is renewed so often, ms; a guess."""
_SEARCHED_AGE_S = 3.0
"""A search is answered from a list up to this old, s: it asks at every letter."""


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:
    """The list; the Review of the session that `rest` names; or the history of the vehicle that the query names."""
    if rest:
        return review_page.layout(context, rest, query)
    if "vehicle" in query:
        return vehicle_page.layout(context, query)
    said, shown, all_shown, all_read = _looked_up(context, "", _A_PAGE)
    return html.Div(
        [
            html.H1(TITLE),
            html.Label("Search: vehicle, complaint, test point, file", htmlFor="session-search"),
            dcc.Input(id="session-search", type="search", debounce=False, className="wide", autoComplete="off"),
            html.P(said, id="session-said", role="status"),
            html.Div(shown, id="session-list"),
            html.Div(html.Button("Show more", id="session-more"), hidden=all_shown, id="session-rest", className="row"),
            put_back_list("session", removed(context.folder)),
            archived_list(*newest(context.folder, _MOST_ARCHIVED)),
            dcc.Interval(id="session-tick", interval=_LOOK_AGAIN_MS, disabled=all_read),
            html.Div(id="drawing-library", hidden=True),
        ]
    )


def register(app: Dash, context: Context) -> None:
    """Add its callbacks."""
    downloads.register(app, context)
    review_page.register(app, context)
    vehicle_page.register(app, context)
    context.listed.read_on()

    @app.callback(Output("drawing-library", "children"), Input("drawing-library", "id"))
    def load(_: str) -> Component:
        """Load the drawing library after the list and before it is needed, by a plot that nobody sees."""
        return dcc.Graph()

    @app.callback(
        Output("session-said", "children"),
        Output("session-list", "children"),
        Output("session-rest", "hidden"),
        Output("session-tick", "disabled"),
        Input("session-search", "value"),
        Input("session-more", "n_clicks"),
        Input("session-tick", "n_intervals"),
        prevent_initial_call=True,
    )
    def search(text: str | None, more: int | None, _: int | None) -> tuple[str, Component, bool, bool]:
        return _looked_up(context, text or "", _A_PAGE * (1 + (more or 0)), _SEARCHED_AGE_S)


def _looked_up(context: Context, text: str, most: int, age_s: float = 0.0) -> tuple[str, Component, bool, bool]:
    """Search; return a sentence, the list, whether it holds all that was found, and whether every file is read."""
    known, unread = context.listed.so_far(age_s)
    if not known and not unread:
        return "No sessions in this folder yet.", _first_steps(), True, True
    words = text.split()
    found = holding(known, words)
    said = _said(len(found), len(known), unread, most, bool(words))
    listed = html.Div([vehicles(found), session_list(context, found[:most])])
    return said, listed, len(found) <= most, not unread


def _said(found: int, known: int, unread: int, most: int, searched: bool) -> str:
    said = f"{found} of {count(known, 'session')}" if searched else count(known, "session")
    if unread:
        said += f" so far; {unread} more are still being read"
    return f"{said}; the newest {most} are shown" if found > most else said


def _first_steps() -> Component:
    return html.Ul(
        [
            html.Li(
                [dcc.Link("Record one", href="/record"), ", with a meter or with the simulated van that is offered."]
            ),
            html.Li("Or stop this page and start it on the folder that has your sessions: meterlog page FOLDER"),
            html.Li(
                f"It looked for files named *{SUFFIX} in the folder that it was started on, not in folders below it."
            ),
        ]
    )
