"""The trade's cautions, shown before the first capture on a quantity until a person has said that they read them."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from meterlog.capture.cautions import GENERAL, cautions
from meterlog.errors import UsageError
from meterlog.reading import Quantity
from meterlog_dashboard.view import attributes

QUANTITY_NAMES = {
    Quantity.DC_VOLTAGE: "volts DC",
    Quantity.RESISTANCE: "ohms",
    Quantity.CONTINUITY: "continuity",
    Quantity.DC_CURRENT: "amps DC",
    Quantity.AC_VOLTAGE: "volts AC",
    Quantity.AC_CURRENT: "amps AC",
    Quantity.DIODE: "diode",
    Quantity.FREQUENCY: "frequency",
    Quantity.DUTY_CYCLE: "duty cycle",
    Quantity.CAPACITANCE: "capacitance",
    Quantity.TEMPERATURE: "temperature",
}


def cautions_panel() -> Component:
    """Hidden at first; `live.js` shows what is not read yet, and remembers in the browser what was."""
    lists = [
        html.Div(
            [html.H3(f"For {name}"), html.Ul([html.Li(text) for text in cautions(quantity)])],
            **attributes(data_quantity=str(quantity)),
        )
        for quantity, name in QUANTITY_NAMES.items()
        if cautions(quantity)
    ]
    return html.Section(
        [
            html.H2("Before you measure"),
            html.Ul([html.Li(text) for text in GENERAL]),
            *lists,
            html.Button("I have read this", id="cautions-read", className="main"),
        ],
        id="cautions",
        className="panel cautions",
        hidden=True,
        tabIndex="-1",
        **attributes(aria_label="Cautions"),
    )


def need_read(quantity: Quantity, said: object) -> None:
    """Refuse to begin before a person has said that the cautions were read.

    Args:
        quantity: what is to be measured.
        said: the quantities whose cautions were read, as the browser keeps them.

    Raises:
        UsageError: this one is not among them.
    """
    if not isinstance(said, list) or str(quantity) not in said:
        raise UsageError(
            f"the cautions for {QUANTITY_NAMES[quantity]} were not read: read them, then press 'I have read this'"
        )
