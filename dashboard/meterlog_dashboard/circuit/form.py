"""The forms of a circuit: the reading at the thumb, where it was taken, what was tried and what was observed."""

from __future__ import annotations

from collections.abc import Mapping

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.circuit.readings.measurement import PLACE
from meterlog_dashboard.frame.elements import dropdown

_QUANTITIES = {
    "voltage": "voltage",
    "voltage_drop": "voltage drop",
    "current": "current",
    "resistance": "resistance",
    "lamp": "test lamp",
}
_STATES = {
    "off": "key off",
    "key_on": "key on",
    "prime": "during the prime",
    "crank": "cranking",
    "run": "engine running",
    "isolated": "isolated, no power",
}
_LOADS = {"connected": "all connected", "unplugged": "load unplugged", "lamp": "test lamp as the load"}
_RESULTS = {
    "runs": "it ran",
    "dead": "it stayed dead",
    "blew": "a fuse blew",
    "differs": "it measures otherwise than the good one",
    "alike": "both measure alike",
}
_HOW = {
    "into": "battery voltage fed into",
    "bridged": "bridged",
    "replaced": "replaced, or swapped",
    "compared": "measured beside a known-good one",
}
_SIDES = {"": "nothing unplugged, or not known", "harness": "harness side", "load": "load side"}
NOTHING_ELSE = {"": "nothing else"}
KEYS = PLACE
"""Says where a reading was taken; each has a field `reading-KEY`."""


def parts() -> list[Component]:
    """The bar with the reading, and below it the rest."""
    return [_bar(), _where()]


def _bar() -> Component:
    """The reading alone: what it is of stands filled in below, as the suggestion has it."""
    box = dcc.Input(id="reading-value", type="text", autoComplete="off", maxLength=20)
    return html.Div(
        [
            html.Label("Reading (V, A, ohm, 'open', 'dim')", htmlFor="reading-value"),
            html.Div([box, html.Button("Add this reading", id="reading-add", className="main")], className="row typed"),
            html.Div(html.Button("Take it from the meter", id="reading-live"), className="row"),
            html.P(id="reading-said", role="status"),
        ],
        className="act-bar",
    )


def _where() -> Component:
    from meterlog_dashboard.circuit.case import observable

    return html.Div(
        [
            html.H2("Where the reading was taken"),
            html.Div(
                [
                    _select("reading-quantity", "What", _QUANTITIES),
                    _select("reading-at", "Red probe at", {}),
                    _select("reading-to", "Black probe at", {}),
                    _select("reading-state", "State", _STATES),
                    _select("reading-load", "Load", _LOADS),
                    _select("reading-side", "Half of the connector", _SIDES),
                    _select("reading-unplugged", "Unplugged besides", NOTHING_ELSE),
                ],
                className="fields",
            ),
            html.Details(
                [
                    html.Summary("Something was tried"),
                    html.Div(
                        [
                            _select("feed-how", "What was done", _HOW),
                            _select("feed-into", "Where", {}),
                            _select("feed-unplugged", "Unplugged meanwhile", NOTHING_ELSE),
                            _select("feed-result", "What happened", _RESULTS),
                        ],
                        className="fields",
                    ),
                    html.Div(id="feed-cautions", className="small"),
                    html.Button("Add what was tried", id="feed-add"),
                ]
            ),
            html.Details(
                [
                    html.Summary("Something was seen, heard or smelled"),
                    html.Div(
                        [
                            _select("seen-key", "What", {key: one.text for key, one in observable().items()}),
                            _select("seen-answer", "Answer", {}),
                        ],
                        className="fields",
                    ),
                    html.Button("Add what was observed", id="seen-add"),
                ]
            ),
        ],
        className="panel",
    )


def _select(id_: str, label: str, words: Mapping[str, str]) -> Component:
    options = [{"label": shown, "value": word} for word, shown in words.items()]
    return dropdown(id_, label, options, clearable=False, searchable=False)
