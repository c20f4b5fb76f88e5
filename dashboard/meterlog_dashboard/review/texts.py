"""Says what was entered of a session, to be corrected: vehicle, complaint, note, each channel's name and test point."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.errors import MeterlogError, UsageError
from meterlog.session.corrections import correct
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.vehicle.address import Shown

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

_DETAILS = {"vehicle": "Vehicle", "complaint": "Complaint", "notes": "Notes"}
_LONGEST = 2000
_LABEL, _POINT = "label-", "point-"


def parts(session: Loaded) -> list[Component]:
    """The form; `review.js` reads its fields, `text-` before their key."""
    fields = [_field(key, label, session.details.get(key, "")) for key, label in _DETAILS.items()]
    for channel in session.channels:
        which = f" of channel {channel.number}" if len(session.channels) > 1 else ""
        fields += [
            _field(f"{_LABEL}{channel.number}", f"Label{which}", channel.label),
            _field(f"{_POINT}{channel.number}", f"Test point{which}", channel.point),
        ]
    return [
        dcc.Store(id="texts-entered"),
        html.Details(
            [
                html.Summary("Correct what was entered"),
                html.Div(fields, className="fields", id="texts"),
                html.Button("Save the corrections", id="texts-save", className="main"),
            ]
        ),
        html.P(id="texts-said", role="status"),
    ]


def _field(key: str, label: str, text: str) -> Component:
    box = dcc.Input(id=f"text-{key}", type="text", value=text, autoComplete="off", maxLength=_LONGEST)
    return html.Div([html.Label(label, htmlFor=f"text-{key}"), box])


def register(app: Dash, context: Context) -> None:
    """Add its callback."""

    @app.callback(
        Output("texts-said", "children"),
        Output("markers-changed", "data", allow_duplicate=True),
        Output("review-title", "children"),
        Output("role-list", "children", allow_duplicate=True),
        Input("texts-entered", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def enter(entered: dict[str, Any] | None, name: str) -> tuple[Any, ...]:
        from meterlog_dashboard.review.roles import role_list

        if not entered:
            raise PreventUpdate
        try:
            changed = _changed(context.opened.loaded(name), entered)
            correct(context.folder.file(name), *changed)
        except MeterlogError as error:
            return context.said(error), no_update, no_update, no_update
        session = context.opened.loaded(name)
        return "Saved. The findings are judged anew.", time.time_ns(), title(name, session), role_list(session)


def title(name: str, session: Loaded) -> list[Component | str]:
    """Return what a session is called: its vehicle, which leads to its history, and complaint; else its file."""
    vehicle, complaint = (session.details.get(key, "") for key in ("vehicle", "complaint"))
    if not vehicle.strip():
        return [complaint or name.removesuffix(".sqlite")]
    link = dcc.Link(vehicle, href=Shown(vehicle).address, title=f"History of {vehicle}")
    return [link, f" · {complaint}"] if complaint else [link]


def _changed(session: Loaded, entered: dict[str, Any]) -> tuple[dict[str, str], dict[int, str], dict[int, str]]:
    """The details, labels and points that differ from what the session says.

    Raises:
        UsageError: one of them is no text.
    """
    if not isinstance(entered, dict) or not all(isinstance(text, str) for text in entered.values()):
        raise UsageError("what is corrected must be texts")
    texts = {key: text.strip()[:_LONGEST] for key, text in entered.items()}
    details = {key: texts[key] for key in _DETAILS if key in texts and texts[key] != session.details.get(key, "")}
    labels, points = dict[int, str](), dict[int, str]()
    for channel in session.channels:
        label, point = texts.get(f"{_LABEL}{channel.number}"), texts.get(f"{_POINT}{channel.number}")
        if label is not None and label != channel.label:
            labels[channel.number] = label
        if point is not None and point != channel.point:
            points[channel.number] = point
    return details, labels, points
