"""The circuit as a chain of parts: how likely each is at fault, what was read where, and what to measure next."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dash import Dash, Input, Output, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.errors import MeterlogError
from meterlog_dashboard.circuit import form
from meterlog_dashboard.downloads.links import circuit_address
from meterlog_dashboard.frame.elements import dropdown
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.session_files.folder import job_of

PATH = "/circuit"
TITLE = "Circuit"

_MOST_OFFERED = 200
"""Sessions offered, the newest; a longer list makes the drop-down slow. A guess."""


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:
    """The choice of circuit, what to measure next, the chain, and the form for a reading."""
    from meterlog_dashboard.circuit.case import circuit_names

    del rest
    names = circuit_names(context.folder)
    chosen = query["circuit"] if query.get("circuit") in names else "pump-feed"
    session = [query["session"]] if query.get("session") else []
    recorded = [s.path.name for s in context.listed.so_far()[0] if s.readings][:_MOST_OFFERED]
    recorded += [name for name in session if job_of(name)]
    return html.Div(
        [
            html.H1(TITLE),
            html.Div(
                [
                    dropdown("circuit-name", "Which circuit", names, chosen, clearable=False),
                    dropdown("circuit-sessions", "Recorded on it", recorded, session, multi=True, placeholder="none"),
                    html.Div(
                        [
                            html.Label("Complaint", htmlFor="circuit-dead"),
                            dcc.Checklist(
                                [{"label": "it does not work at all", "value": "dead"}], [], id="circuit-dead"
                            ),
                        ]
                    ),
                ],
                className="fields",
            ),
            dcc.Store(id="circuit-rows", data=[]),
            dcc.Store(id="circuit-next"),
            dcc.Store(id="circuit-remove"),
            html.Div(id="circuit-verdict", role="status"),
            html.Div([html.Div(id="circuit-suggestion"), *form.parts()], className="circuit-left"),
            html.Div(id="circuit-chain"),
        ],
        className="circuit",
    )


def register(app: Dash, context: Context) -> None:
    """Add its callbacks."""
    _register_case(app, context)
    _register_suggested(app)
    _register_meter(app, context)
    _register_observing(app, context)
    _register_entering(app, context)


def _register_case(app: Dash, context: Context) -> None:
    """Recompute the diagnosis when the circuit, sessions or readings change."""

    @app.callback(
        Output("circuit-verdict", "children"),
        Output("circuit-suggestion", "children"),
        Output("circuit-chain", "children"),
        Output("circuit-next", "data"),
        Output("reading-at", "options"),
        Output("reading-to", "options"),
        Output("feed-into", "options"),
        Output("reading-unplugged", "options"),
        Output("feed-unplugged", "options"),
        Output("feed-cautions", "children"),
        Input("circuit-name", "value"),
        Input("circuit-sessions", "value"),
        Input("circuit-dead", "value"),
        Input("circuit-rows", "data"),
    )
    def think(name: str, sessions: list[str] | None, dead: list[str], rows: list[dict[str, Any]]) -> tuple[Any, ...]:
        from meterlog_dashboard.circuit import display
        from meterlog_dashboard.circuit.case import weigh

        try:
            case = weigh(context.folder, name, sessions or [], rows, bool(dead))
        except MeterlogError as error:
            said = html.P(context.said(error), role="alert", className="error")
            return said, None, None, None, *[no_update] * 5, None
        address = circuit_address(name, sessions or [], rows, bool(dead))
        report = html.A("Report", href=address, className="button main", download="")
        first = case.diagnosis.next[0].measurement if case.diagnosis.next else None
        suggested = {key: getattr(first, key) for key in form.KEYS} if first else None
        places = display.places(case.circuit)
        chain = [display.chain(case), html.Div(report, id="circuit-take", className="row")]
        shown = (display.verdict(case), display.suggestion(case), chain)
        feeding = display.feed_cautions(case)
        loads = case.circuit.loads
        out = (display.unpluggable(case.circuit, loads[1:]), display.unpluggable(case.circuit, loads))
        return *shown, suggested, places, places, places, *out, feeding

    @app.callback(
        Output("circuit-rows", "data", allow_duplicate=True),
        Input("circuit-name", "value"),
        prevent_initial_call=True,
    )
    def begin_again(_: str) -> list[Any]:
        return []


def _register_suggested(app: Dash) -> None:
    """Fill the form with the measurement that is worth taking next."""

    @app.callback(
        *(Output(f"reading-{key}", "value") for key in form.KEYS),
        Input("circuit-next", "data"),
        prevent_initial_call=True,
    )
    def fill(suggested: dict[str, str] | None) -> list[Any]:
        if not suggested:
            raise PreventUpdate
        return [suggested[key] for key in form.KEYS]


def _register_meter(app: Dash, context: Context) -> None:
    """Take the value from a meter that is being recorded."""

    @app.callback(
        Output("reading-value", "value"),
        Output("reading-said", "children"),
        Input("reading-live", "n_clicks"),
        State("reading-quantity", "value"),
        State("reading-at", "value"),
        prevent_initial_call=True,
    )
    def take(_: int, quantity: str | None, at: str | None) -> tuple[Any, str]:
        from meterlog_dashboard.circuit.case import live_reading

        try:
            live = live_reading(context.listed, quantity or "voltage", at or "")
        except MeterlogError as error:
            return no_update, context.said(error)
        return live.text, f"{live.text} {live.unit} now on '{live.label}' of {live.session}. Add it if it is steady."


def _register_observing(app: Dash, context: Context) -> None:
    """Offer the answers to what was observed."""

    @app.callback(
        Output("seen-answer", "options"),
        Input("seen-key", "value"),
        State("circuit-name", "value"),
        prevent_initial_call=True,
    )
    def answers(key: str | None, name: str) -> list[str]:
        from meterlog_dashboard.circuit.case import answers_to

        return answers_to(context.folder, name, key or "")


def _register_entering(app: Dash, context: Context) -> None:
    """Add what a person enters, and take it out again."""

    @app.callback(
        Output("circuit-rows", "data"),
        Output("reading-value", "value", allow_duplicate=True),
        Output("reading-said", "children", allow_duplicate=True),
        Input("reading-add", "n_clicks"),
        Input("feed-add", "n_clicks"),
        Input("seen-add", "n_clicks"),
        Input("circuit-remove", "data"),
        State("circuit-rows", "data"),
        State("circuit-name", "value"),
        State("reading-value", "value"),
        State("feed-how", "value"),
        State("feed-into", "value"),
        State("feed-unplugged", "value"),
        State("feed-result", "value"),
        State("seen-key", "value"),
        State("seen-answer", "value"),
        *(State(f"reading-{key}", "value") for key in form.KEYS),
        prevent_initial_call=True,
    )
    def add(
        _: int,
        __: int,
        ___: int,
        removed: dict[str, Any] | None,
        rows: list[dict[str, Any]],
        name: str,
        text: str | None,
        how: str | None,
        into: str | None,
        unplugged: str | None,
        result: str | None,
        seen: str | None,
        answer: str | None,
        *where: str | None,
    ) -> tuple[Any, Any, str]:
        from meterlog_dashboard.circuit.case import check_row, entered_row, without

        if ctx.triggered_id == "circuit-remove" and removed:
            return without(rows, str(removed["kind"]), int(removed["place"])), no_update, "Taken out."
        try:
            if ctx.triggered_id == "feed-add":
                row: dict[str, Any] = {how or "into": into, "result": result}
                row |= {"unplugged": unplugged} if unplugged else {}
            elif ctx.triggered_id == "seen-add":
                row = {"observed": seen, "answer": answer}
            else:
                place = {key: value for key, value in zip(form.KEYS, where, strict=True) if value}
                row = entered_row(place, text or "")
            check_row(context.folder, name, row)
        except MeterlogError as error:
            return no_update, no_update, context.said(error)
        return [*rows, row], "", "Added."
