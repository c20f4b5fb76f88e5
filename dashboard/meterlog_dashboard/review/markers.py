"""The markers of a session in Review: their list, and the form that adds, changes and removes them."""

from __future__ import annotations

import time
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.errors import MeterlogError
from meterlog.session.markers import add_marker, change_marker, remove_marker
from meterlog.session.model import Marker
from meterlog_dashboard.frame.elements import USUAL_MARKERS, attributes, table
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.review.clock import Clock

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded


def parts(session: Loaded, clock: Clock) -> list[Component]:
    """The list and the form."""
    return [
        dcc.Store(id="markers-changed", data=0),
        dcc.Store(id="marker-row"),
        dcc.Store(id="marker-number"),
        html.Div(_list(session.markers, clock), id="marker-list"),
        _form(),
    ]


def _form() -> Component:
    return html.Div(
        [
            html.H3("Add a marker", id="marker-heading"),
            html.P("Press a place in the plot to take its time.", className="soft small"),
            html.Datalist([html.Option(value=word) for word in USUAL_MARKERS], id="usual-markers"),
            html.Div(
                [
                    _field("marker-time", "Time, s from the start", type="number", min=0, step="any"),
                    _field("marker-name", "Name", type="text", list="usual-markers", maxLength=80),
                    _field("marker-note", "Note", type="text", maxLength=400),
                ],
                className="fields",
            ),
            html.Div(
                [
                    html.Button("Save", id="marker-save", className="main"),
                    html.Button("Remove", id="marker-remove", disabled=True),
                    html.Button("New marker", id="marker-new"),
                ],
                className="row",
            ),
            html.P(id="marker-said", role="status"),
        ],
        className="panel",
    )


def _field(id_: str, label: str, **more: Any) -> Component:
    return html.Div([html.Label(label, htmlFor=id_), dcc.Input(id=id_, autoComplete="off", **more)])


def _list(markers: Sequence[Marker], clock: Clock) -> Component:
    if not markers:
        return html.P("No markers.")
    return table(("show", "name", "note", "at", "by", "change"), [_row(marker, clock) for marker in markers], "Markers")


def _row(marker: Marker, clock: Clock) -> Component:
    at = f"{clock.words(marker.time_s)} ({marker.time_s:.2f} s)"
    show = html.Button("Show", title=f"Show {marker.name} in the plot", **attributes(data_at=f"{marker.time_s:.6f}"))
    change = html.Button("Change", title=f"Change {marker.name}", **attributes(data_marker=marker.number))
    cells = (show, marker.name, marker.note, at, marker.by, change)
    return html.Tr([html.Td(cell) for cell in cells])


def register(app: Dash, context: Context) -> None:
    """Add its callbacks."""
    opened = context.opened

    @app.callback(
        Output("marker-heading", "children"),
        Output("marker-number", "data"),
        Output("marker-time", "value"),
        Output("marker-name", "value"),
        Output("marker-note", "value"),
        Output("marker-remove", "disabled"),
        Input("marker-row", "data"),
        Input("marker-new", "n_clicks"),
        Input("detail", "clickData"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def fill(row: dict[str, Any] | None, _: int, click: dict[str, Any] | None, name: str) -> tuple[Any, ...]:
        session = opened.loaded(name)
        if ctx.triggered_id == "detail":
            if not click:
                raise PreventUpdate
            at_s = Clock(session.started_at, session.duration_s).seconds(click["points"][0]["x"])
            return (no_update, no_update, round(max(0.0, at_s), 3), no_update, no_update, no_update)
        if ctx.triggered_id == "marker-row" and row:
            for marker in session.markers:
                if marker.number == row["number"]:
                    heading = f"Change '{marker.name}'"
                    return heading, marker.number, round(marker.time_s, 6), marker.name, marker.note, False
        return "Add a marker", None, None, "", "", True

    @app.callback(
        Output("marker-list", "children"),
        Output("markers-changed", "data"),
        Output("marker-said", "children"),
        Output("marker-number", "data", allow_duplicate=True),
        Output("marker-heading", "children", allow_duplicate=True),
        Output("marker-remove", "disabled", allow_duplicate=True),
        Input("marker-save", "n_clicks"),
        Input("marker-remove", "n_clicks"),
        State("marker-number", "data"),
        State("marker-time", "value"),
        State("marker-name", "value"),
        State("marker-note", "value"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def write(
        _: int, __: int, number: int | None, time_s: float | None, text: str | None, note: str | None, name: str
    ) -> tuple[Any, ...]:
        try:
            said, number = _write(context, name, number, time_s, text or "", note or "")
        except MeterlogError as error:
            return no_update, no_update, context.said(error), no_update, no_update, no_update
        session = opened.loaded(name)
        heading = "Add a marker" if number is None else f"Change '{text}'"
        listed = _list(session.markers, Clock(session.started_at, session.duration_s))
        return listed, time.time_ns(), said, number, heading, number is None


def _write(
    context: Context, name: str, number: int | None, time_s: float | None, text: str, note: str
) -> tuple[str, int | None]:
    """Do what the form says; return a sentence, and the number of the marker that the form now belongs to."""
    path = context.folder.file(name)
    if ctx.triggered_id == "marker-remove":
        if number is None:
            raise PreventUpdate
        remove_marker(path, number)
        return f"'{text}' is removed. Press Save to put it back.", None
    if not isinstance(time_s, int | float):
        return "Give a time, or press a place in the plot.", number
    if number is None:
        return f"'{text.strip()}' is set at {time_s:g} s.", add_marker(path, text, note, time_s).number
    change_marker(path, number, name=text, note=note, time_s=time_s)
    return f"'{text.strip()}' is changed.", number
