"""The sessions of the folder, with search; and under each one's address its Review."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote

from dash import Dash, Input, Output, dcc, html
from dash.development.base_component import Component

from meterlog.findings.words import count, seconds
from meterlog.session.summary import Summary
from meterlog_dashboard import downloads, review
from meterlog_dashboard.shelf import shelf_of
from meterlog_dashboard.view import Shop

PATH = "/sessions"
TITLE = "Sessions"

_MOST_SHOWN = 100
_ENDED = {"growing": "being recorded now", "hard": "ended without being closed"}


def address(name: str) -> str:
    """Where the Review of a session is."""
    return f"{PATH}/{quote(name, safe='')}"


def layout(shop: Shop, rest: str, query: Mapping[str, str]) -> Component:
    """The list, or the Review of the session that `rest` names."""
    if rest:
        return review.layout(shop, rest, query)
    return html.Div(
        [
            html.H1(TITLE),
            html.Label("Search: vehicle, complaint, test point, file", htmlFor="session-search"),
            dcc.Input(id="session-search", type="search", debounce=False, className="wide", autoComplete="off"),
            html.Div(_found(shop, ""), id="session-list"),
            html.Div(dcc.Graph(), hidden=True),  # so that the browser has the drawing library before it is needed
        ]
    )


def register(app: Dash, shop: Shop) -> None:
    """Add its callbacks."""
    downloads.register(app, shop)
    review.register(app, shop)

    @app.callback(Output("session-list", "children"), Input("session-search", "value"), prevent_initial_call=True)
    def search(text: str | None) -> list[Component]:
        return _found(shop, text or "")


def _found(shop: Shop, text: str) -> list[Component]:
    words = text.split()
    every = shelf_of(shop.library).summaries()
    found = [summary for summary in every if all(summary.holds(word) for word in words)]
    said = f"{len(found)} of {count(len(every), 'session')}" if words else count(len(every), "session")
    if len(found) > _MOST_SHOWN:
        said += f"; the newest {_MOST_SHOWN} are shown, search for the others"
    return [html.P(said, role="status"), _list(found[:_MOST_SHOWN])]


def _list(found: Sequence[Summary]) -> Component:
    return html.Ul([html.Li(_entry(summary)) for summary in found], className="session-list")


def _entry(summary: Summary) -> Component:
    if summary.started_at is None:
        return html.Div([html.Strong(summary.path.name), f"cannot be read: {summary.damage}"], className="panel error")
    case = " · ".join(summary.details[key] for key in ("vehicle", "complaint") if summary.details.get(key))
    channels = ", ".join(f"{label} ({quantity.replace('_', ' ')})" for label, quantity in summary.channels)
    figures = [seconds(summary.duration_s), count(summary.readings, "reading"), count(summary.markers, "marker")]
    state = _ENDED.get(summary.ended)
    return dcc.Link(
        [
            html.Strong(case or summary.path.stem),
            html.Span(f"{summary.started_at:%Y-%m-%d %H:%M}", className="when"),
            html.Span(state, className="state") if state else None,
            html.Span(channels, className="line"),
            html.Span(f"{' · '.join(figures)} · {summary.path.name}", className="line soft"),
        ],
        href=address(summary.path.name),
        className="session",
    )
