"""The live page of one session. `live.js` fills it from the addresses under `/live/`."""

from __future__ import annotations

from urllib.parse import quote

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.drawing.palette import CHANNELS, GREY, GRID
from meterlog.drawing.primitives import layout as figure_layout
from meterlog_dashboard.cautions.panel import cautions_panel
from meterlog_dashboard.downloads import session_links
from meterlog_dashboard.frame.elements import USUAL_MARKERS, attributes
from meterlog_dashboard.frame.view import Context


def layout(context: Context, name: str) -> Component:
    """The page.

    Raises:
        NotASession: there is none of that name.
    """
    context.folder.file(name)
    return html.Div(
        [
            html.Div(
                [html.Strong("Connecting …", id="band-word"), html.Span("", id="band-text"), _seen()],
                id="band",
                role="alert",
                className="band calm",
            ),
            html.Div(
                [
                    html.H1("Live"),
                    html.Span("", id="live-state", role="status"),
                    html.Button("Sound: off", id="sound", **attributes(aria_pressed="false")),
                ],
                className="row live-head",
            ),
            cautions_panel(),
            html.Div(id="readouts"),
            _markers(),
            dcc.Graph(id="strip-chart", figure={"data": [], "layout": figure_layout(260)}, config={"staticPlot": True}),
            html.P("", id="live-said", role="status", className="soft"),
            html.Div(
                [
                    html.Button("Stop", id="stop", className="stop giant"),
                    dcc.Link("Review this session", href=f"/sessions/{quote(name, safe='')}", className="button"),
                ],
                className="row",
            ),
            html.Div(session_links(name), id="live-take", className="row", hidden=True),
            html.Section([html.H2("Newest events"), html.Ol(id="live-events"), html.P("None so far.", id="live-none")]),
        ],
        id="live",
        **attributes(data_name=name, data_colours=" ".join(CHANNELS), data_grid=GRID, data_marker=GREY),
    )


def _seen() -> Component:
    return html.Button("Seen", id="band-seen", hidden=True)


def _markers() -> Component:
    buttons = [html.Button(name, className="marker-button", **attributes(data_mark=name)) for name in USUAL_MARKERS]
    text = dcc.Input(id="mark-text", type="text", autoComplete="off", placeholder="wiggle at plug", maxLength=200)
    label = html.Label("Your own words", htmlFor="mark-text")
    return html.Section(
        [
            html.Div(buttons, className="marker-buttons"),
            html.Div([label, text, html.Button("Set marker", id="mark-typed")], className="row marker-typed"),
        ],
        **attributes(aria_label="Markers"),
    )
