"""The trade's cautions, shown before the first capture on a quantity until a person has said that they read them."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from meterlog.cautions import Act, applying
from meterlog.errors import UsageError
from meterlog.reading import Quantity
from meterlog_dashboard.frame.elements import attributes

USUAL_FIRST = sorted(
    Quantity,
    key=(Quantity.DC_VOLTAGE, Quantity.RESISTANCE, Quantity.CONTINUITY, Quantity.DC_CURRENT, *Quantity).index,
)
"""The quantities in the order in which they are offered."""


def cautions_panel() -> Component:
    """Hidden at first; `cautions.js` shows what was not read yet, and remembers in the browser what was."""
    always = applying(Act("record"))
    by_quantity = {quantity: set(applying(Act("record", quantity))) for quantity in USUAL_FIRST}
    every = applying(*(Act("record", quantity) for quantity in USUAL_FIRST))
    return html.Section(
        [
            html.H2("Before you measure"),
            html.Ul(
                [
                    html.Li(text)
                    if text in always
                    else html.Li(
                        text,
                        **attributes(data_quantities=" ".join(q for q, texts in by_quantity.items() if text in texts)),
                    )
                    for text in every
                ]
            ),
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
        raise UsageError(f"the cautions for {quantity.words} were not read: read them, then press 'I have read this'")
