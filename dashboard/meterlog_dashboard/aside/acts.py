"""Shows what can be done to a session or a job as a file: its name and its end, and below a list what was removed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.session.names import SUFFIX
from meterlog_dashboard.frame.elements import attributes

Kind = Literal["session", "job"]
_LABELS = {"session": "Name of its file", "job": "Name of its folder"}
_LISTS = {"session": "Sessions", "job": "Jobs"}
_MOST_REMOVED = 20
"""Removed ones that are offered; a guess, the last one is what is missed."""


def file_acts(kind: Kind, name: str) -> Component:
    """Rename, or remove; both can be undone."""
    id_, stem = f"rename-{kind}", name.removesuffix(SUFFIX)
    box = dcc.Input(id=id_, type="text", value=stem, autoComplete="off", maxLength=120)
    return html.Details(
        [
            html.Summary("Rename or remove"),
            html.Div([html.Label(_LABELS[kind], htmlFor=id_), box], className="fields"),
            html.Div(
                [_act(kind, "rename", "Rename", name, "main"), _act(kind, "remove", f"Remove this {kind}", name)],
                className="row",
            ),
            html.P(f"Removed is not gone: '{_LISTS[kind]}' puts it back.", className="soft small"),
            html.P(id="aside-said", role="alert"),
        ]
    )


def put_back_list(kind: Kind, names: Sequence[str]) -> Component | None:
    """Show what was removed, each one press from where it was."""
    if not names:
        return None
    rows = [
        html.Li([_act(kind, "put-back", "Put back", name), html.Span(name)], className="row")
        for name in names[:_MOST_REMOVED]
    ]
    return html.Details(
        [
            html.Summary(f"Removed ({len(names)})"),
            html.Ul(rows, className="session-list"),
            html.P(id="aside-said", role="alert"),
        ]
    )


def _act(kind: Kind, what: str, words: str, name: str, style: str = "") -> Component:
    return html.Button(words, className=style, **attributes(data_act=what, data_kind=kind, data_name=name))
