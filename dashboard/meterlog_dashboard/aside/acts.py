"""Shows what can be done to a session or a job as a file: its name and its end; below a list what was removed, and
what is archived."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.archive import ComesBack
from meterlog.session.names import SUFFIX
from meterlog.text.figures import count, size
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


def archived_list(names: Sequence[ComesBack], of: int) -> Component | None:
    """Show what is archived; each unfolds what bringing it back would do, and the button that does it."""
    if not of:
        return None
    more = (
        f", the newest {len(names)}; 'meterlog sessions --restore NAME' brings back others" if of > len(names) else ""
    )
    return html.Details(
        [
            html.Summary(f"Archived ({of}{more})"),
            html.Ul([html.Li(_archived(one)) for one in names], className="session-list"),
        ]
    )


def _archived(one: ComesBack) -> Component:
    month, _, name = one.name.partition("/")
    raw = f" with {count(one.raw, 'raw capture')}" if one.raw else ""
    does = (
        f"Restoring it unpacks '{name}'{raw} into this folder, where it takes {size(one.size)}, "
        f"and takes it out of the archive, where it takes {size(one.packed)}."
    )
    there = ", ".join(one.in_the_way)
    note = html.P(f"{there} is here already: it comes back only if that is the very same.", className="note")
    button = _act("session", "restore", "Restore it", one.name, "main")
    title = html.Summary(f"{month}: {name.removesuffix(SUFFIX)}")
    return html.Details([title, html.P(does), note if there else None, button, html.P(role="alert")])


def _act(kind: Kind, what: str, words: str, name: str, style: str = "") -> Component:
    return html.Button(words, className=style, **attributes(data_act=what, data_kind=kind, data_name=name))
