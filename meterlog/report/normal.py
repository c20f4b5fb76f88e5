"""The report of what is normal: each measure's interval with every capture over time, in one HTML file."""

from __future__ import annotations

import secrets
from collections.abc import Sequence
from datetime import datetime

import jinja2
import numpy as np
import pandas as pd
from markupsafe import Markup

from meterlog.drawing import drawing_library
from meterlog.drawing.palette import BLACK, GRID, ORANGE, ROLES, trace_rules
from meterlog.drawing.primitives import Figure, layout, line
from meterlog.fleet.asking.normal import Normal
from meterlog.report.build import colours, figure_json, template, versions

_HEIGHT_PX = 300
"""As the other plots of reports: the style sheet keeps it free."""


def normal_page(measures: pd.DataFrame, found: Sequence[Normal], rows: Sequence[tuple[str, str]], name: str) -> str:
    """Return the page.

    Args:
        measures: the table `measures` that it was found in.
        found: what is normal, measure by measure.
        rows: for each of them what it is, and what was found, in words.
        name: whose sessions these are.
    """
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(template), autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True
    )
    return environment.get_template("normal.html").render(
        name=name,
        parts=[(*row, figure_json(_figure(measures, one))) for row, one in zip(rows, found, strict=True)],
        made=datetime.now().astimezone().isoformat(timespec="minutes"),
        versions=versions(),
        nonce=secrets.token_urlsafe(16),
        plotly=Markup(drawing_library().replace("</script", "<\\/script")),
        style=Markup(colours() + trace_rules(dark=False) + template("report.css")),
        script=Markup(template("report.js")),
    )


def _figure(measures: pd.DataFrame, one: Normal) -> Figure:
    """Draw each capture at its day, those left out in another colour, over the interval."""
    its = measures[(measures.label == one.label) & (measures.quantity == one.quantity) & (measures.unit == one.unit)]
    its = its[its.measure == one.measure].sort_values("started_at")
    odd = its.session.isin([left.session for left in one.odd]).to_numpy()
    days = its.started_at.to_numpy("datetime64[ms]").astype("datetime64[ms]").astype(np.float64)
    value = its.value.to_numpy()
    traces = [
        line(days[chosen], value[chosen], words, colour, mode="markers", marker={"color": colour, "size": 6})
        for chosen, words, colour in ((~odd, "captures", BLACK), (odd, "left out", ORANGE))
    ]
    made = layout(_HEIGHT_PX, dragmode=False, shapes=[] if one.low is None else [_interval(one)])
    made["margin"] |= {"l": 56, "r": 12, "t": 12, "b": 42}
    made["xaxis"] = {"type": "date", "gridcolor": GRID, "automargin": True}
    made["yaxis"] = {"title": {"text": one.unit}, "gridcolor": GRID, "automargin": True}
    return {"data": traces, "layout": made}


def _interval(one: Normal) -> dict[str, object]:
    shape = {"type": "rect", "xref": "paper", "yref": "y", "x0": 0, "x1": 1, "y0": one.low, "y1": one.high}
    return {**shape, "fillcolor": ROLES["good"], "opacity": 0.2, "line": {"width": 0}, "layer": "below"}
