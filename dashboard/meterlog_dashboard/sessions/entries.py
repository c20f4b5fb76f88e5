"""A session as an entry of a list, with the way to its Review; and the vehicles of a list, with the way to theirs."""

from __future__ import annotations

from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.session.summary import Summary
from meterlog.text.figures import count, seconds
from meterlog.text.names import same_name
from meterlog_dashboard.frame.addresses import session_address
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.vehicle.address import Shown

_ENDED = {"growing": "being recorded now", "hard": "ended without being closed"}
_MOST_VEHICLES, _LOOKED_THROUGH = 8, 1000
"""Vehicles whose history is offered, those recorded last, and sessions looked through for them; a search brings others.
By eye, three lines of a phone."""


def session_list(context: Context, found: Sequence[Summary]) -> Component:
    """Sessions as a list."""
    return html.Ul([html.Li(_entry(context, summary)) for summary in found], className="session-list")


def vehicles(found: Sequence[Summary]) -> Component | None:
    """Show the vehicles of some sessions, each a press from its history."""
    named: dict[str, str] = {}
    for one in found[:_LOOKED_THROUGH]:
        name = " ".join(one.details.get("vehicle", "").split())
        if name and len(named) < _MOST_VEHICLES:
            named.setdefault(same_name(name), name)
    links = [dcc.Link(name, href=Shown(name).address, className="button") for name in named.values()]
    if not links:
        return None
    return html.Nav(
        [html.Span("History of", className="soft"), *links],
        className="row vehicles",
        **attributes(aria_label="Vehicles"),
    )


def _entry(context: Context, summary: Summary) -> Component:
    if summary.started_at is None:
        return html.Div(
            [html.Strong(summary.path.name), f"cannot be read: {context.folder.without_paths(summary.damage)}"],
            className="panel error",
        )
    case = " · ".join(summary.details[key] for key in ("vehicle", "complaint") if summary.details.get(key))
    channels = ", ".join(f"{label} ({quantity.words})" for label, quantity in summary.channels)
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
        href=session_address(summary.path.name),
        className="session",
    )
