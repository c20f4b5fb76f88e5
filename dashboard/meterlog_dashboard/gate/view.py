"""Devices: lets another one in, and lists and removes those that are paired; on this computer only."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import flask
import segno
from dash import ALL, Dash, Input, Output, ctx, html, no_update
from dash.development.base_component import Component

from meterlog.errors import UsageError
from meterlog.settings import data_folder
from meterlog_dashboard.frame.elements import table
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.gate.access import THIS_COMPUTER, Lan
from meterlog_dashboard.gate.devices import Devices

PATH = "/devices"
TITLE = "Devices"

_NOT_LET_IN = "No other device is let in: start the page with 'meterlog page --lan' for that."


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:  # noqa: ARG001
    """Show how another device gets in, and those that are."""
    _only_here()
    lan = context.access.lan
    invitation = _invitation(lan, context.access.code) if lan else [html.P(_NOT_LET_IN)]
    return html.Div(
        [
            html.H1("Devices"),
            html.Section([html.H2("Let another device in"), *invitation], className="panel"),
            html.Section([html.H2("Paired"), html.Div(_listed(), id="devices-listed")]),
        ]
    )


def register(app: Dash, context: Context) -> None:  # noqa: ARG001
    """Add the buttons."""

    @app.callback(
        Output("devices-listed", "children"),
        Input({"device": ALL}, "n_clicks"),
        prevent_initial_call=True,
    )
    def remove(presses: list[Any]) -> Any:
        _only_here()
        if not any(presses) or not isinstance(ctx.triggered_id, dict):
            return no_update
        Devices(data_folder()).remove(str(ctx.triggered_id["device"]))
        return _listed()


def _only_here() -> None:
    """Refuse what comes from elsewhere.

    Raises:
        UsageError: another device asks.
    """
    if flask.request.remote_addr not in THIS_COMPUTER:
        raise UsageError("devices are listed and removed on the computer itself")


def _invitation(lan: Lan, code: str) -> list[Component]:
    square = segno.make(f"{lan.address}/pair?code={code}", error="m").svg_data_uri(scale=4, light="white")
    return [
        html.Img(src=square, alt="A square to scan with the phone"),
        html.P(["Or open ", html.B(lan.address), " there and type the code ", html.B(f"{code[:4]} {code[4:]}"), "."]),
        html.P(
            "The connection is encrypted with a certificate that was made on this computer, so the browser there warns"
            " once. Go on only if it shows this SHA-256 fingerprint:"
        ),
        html.P(html.Code(lan.fingerprint), className="fingerprint"),
    ]


def _listed() -> Component:
    rows = [
        html.Tr(
            [
                html.Th(one.name, scope="row"),
                html.Td(one.paired_on),
                html.Td(one.seen_on),
                html.Td(html.Button("Remove", id={"device": one.name}, title=f"Let {one.name} in no more")),
            ]
        )
        for one in Devices(data_folder()).all()
    ]
    return table(["Device", "Paired on", "Last here on", ""], rows, "Paired devices") if rows else html.P("None yet.")
