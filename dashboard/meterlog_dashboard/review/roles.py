"""The channels in Review: what each measures and what says so, with buttons to say it where nothing else does."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.errors import MeterlogError
from meterlog.roles import Role, role_key, roles_of
from meterlog.session.corrections import correct
from meterlog.session.model import Channel
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.frame.view import Context

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

_DECIDED = ("point", "quantity")
"""The role cannot be entered where one of these says it."""


def parts(session: Loaded) -> list[Component]:
    """The list, and where it says what was wrong."""
    return [
        dcc.Store(id="role-chosen"),
        html.Div(role_list(session), id="role-list"),
        html.P(id="role-said", role="status"),
    ]


def role_list(session: Loaded) -> Component:
    """Each channel with what it measures, and the buttons to say it."""
    return html.Ul([html.Li(_entry(channel)) for channel in session.channels], className="channels")


def _entry(channel: Channel) -> list[Component]:
    at = f" at {channel.place}" if channel.point else ""
    found = channel.measurand
    entry: list[Component] = [
        html.Strong(f"{channel.name}{at}"),
        html.Span(f", {channel.quantity.words}: {found.described}"),
    ]
    if found.said_by in _DECIDED:
        return entry
    buttons = [_button(channel, role) for role in (*roles_of(channel.quantity), Role.OTHER)]
    if found.said_by:
        return [*entry, html.Details([html.Summary("Correct it"), html.Div(buttons, className="row")])]
    return [*entry, html.P("Say what it is, and its readings are judged:"), html.Div(buttons, className="row")]


def _button(channel: Channel, role: Role) -> Component:
    chosen = str(channel.measurand.said_by == "entered" and channel.measurand.role == role).lower()
    title = f"{channel.name} is: {role.words}"
    said = attributes(data_role=role, data_channel=channel.number, aria_pressed=chosen, aria_label=title)
    return html.Button(role.words, title=title, **said)


def register(app: Dash, context: Context) -> None:
    """Add its callback."""

    @app.callback(
        Output("role-list", "children"),
        Output("role-said", "children"),
        Output("markers-changed", "data", allow_duplicate=True),
        Input("role-chosen", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def enter(chosen: dict[str, Any] | None, name: str) -> tuple[Any, str, Any]:
        if not chosen:
            raise PreventUpdate
        try:
            correct(context.folder.file(name), {role_key(int(chosen["channel"])): str(chosen["role"])})
        except MeterlogError as error:
            return no_update, context.said(error), no_update
        return role_list(context.opened.loaded(name)), "Saved. The findings are judged anew.", time.time_ns()
