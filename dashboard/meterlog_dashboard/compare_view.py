"""The compare view."""

from __future__ import annotations

from collections.abc import Mapping

from dash import Dash, dcc, html
from dash.development.base_component import Component

from meterlog_dashboard.view import Shop

PATH = "/compare"
TITLE = "Compare"


def layout(shop: Shop, rest: str, query: Mapping[str, str]) -> Component:
    """What to show."""
    return html.Div([html.H1(TITLE), dcc.Graph(figure={"data": [{"y": [1, 3, 2], "type": "scatter"}]}), html.P(f"{rest} {dict(query)} {shop}")])


def register(app: Dash, shop: Shop) -> None:
    """Add its callbacks."""
