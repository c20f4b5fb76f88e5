"""Shows what can be done to a session as a file: its name in Review, and below the list what was removed."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.session.names import SUFFIX
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.session_files.changes import removed
from meterlog_dashboard.session_files.folder import SessionFolder

_MOST_REMOVED = 20
"""Removed sessions that are offered; a guess, the last one is what is missed."""


def file_acts(name: str) -> Component:
    """Rename, or remove; both can be undone."""
    box = dcc.Input(id="session-name", type="text", value=name.removesuffix(SUFFIX), autoComplete="off", maxLength=120)
    return html.Details(
        [
            html.Summary("Rename or remove"),
            html.Div([html.Label("Name of its file", htmlFor="session-name"), box], className="fields"),
            html.Div(
                [_act("Rename", name, "rename", "main"), _act("Remove this session", name, "remove")], className="row"
            ),
            html.P("Removed is not gone: 'Sessions' puts it back.", className="soft small"),
            html.P(id="session-act-said", role="alert"),
        ]
    )


def put_back_list(folder: SessionFolder) -> Component | None:
    """Show what was removed, each one press from where it was."""
    names = removed(folder)[:_MOST_REMOVED]
    if not names:
        return None
    rows = [html.Li([_act("Put back", name, "put-back"), html.Span(name)], className="row") for name in names]
    return html.Details(
        [
            html.Summary(f"Removed ({len(names)})"),
            html.Ul(rows, className="session-list"),
            html.P(id="session-act-said", role="alert"),
        ]
    )


def _act(words: str, name: str, what: str, style: str = "") -> Component:
    return html.Button(words, className=style, **attributes(data_act=what, data_session=name))
