"""Pieces that several views are put together from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dash import dcc, html
from dash.development.base_component import Component

PLOT: Any = {"displayModeBar": False, "doubleClick": False, "responsive": True, "scrollZoom": False}
"""The behaviour of every plot: no tool bar of the drawing library, since the page has its own buttons."""

STRIP_PLOT: Any = {**PLOT, "edits": {"shapePosition": True}}
"""The same where a frame can be dragged."""

USUAL_MARKERS = ("key-on", "crank", "wiggle", "key-off")
"""Offered by name; any other text is a marker too."""

_LIST_PX = 420
"""The height of an open list: half a phone, px."""


def attributes(**named: object) -> dict[str, Any]:
    """Attributes that an element has no argument for, such as `data-event` and `aria-label`: `data_event=3`."""
    return {name.replace("_", "-"): str(value) for name, value in named.items()}


def dropdown(id_: str, label: str, options: Any, value: Any = None, **more: Any) -> Component:
    """A choice from a list, under its label."""
    box = dcc.Dropdown(options, value, id=id_, maxHeight=_LIST_PX, **more)
    return html.Div([html.Label(label, htmlFor=id_, id=f"{id_}-label"), box])


def table(headings: Sequence[str], rows: Sequence[Component], label: str) -> Component:
    """A table that scrolls sideways by itself; on a phone each row is a card, and each cell knows its heading."""
    for row in rows:
        for cell, heading in zip(row.children, headings, strict=True):
            setattr(cell, "data-label", heading)
    head = html.Thead(html.Tr([html.Th(heading, scope="col") for heading in headings]))
    return html.Div(
        html.Table([head, html.Tbody(list(rows))]), className="scroll stacked", tabIndex="0", role="region", title=label
    )


def verdict_word(verdict: str) -> Component:
    """A verdict with its sign, in words; the colour comes on top."""
    from meterlog.report.build import MARKS

    return html.Span(f"{MARKS[verdict]} {verdict}", className=f"verdict {verdict.split()[0]}")


def skeleton(what: str, lines: int) -> Component:
    """Show what stands where something is still worked out: its shape, and what it is for those who do not see that."""
    bars = [html.Span(className="bar", **attributes(aria_hidden="true")) for _ in range(lines)]
    return html.Div([html.Span(f"{what} …", className="unseen-words"), *bars], className="skeleton")
