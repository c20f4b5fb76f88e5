"""The live page of one session. `live.js` fills it from the addresses under `/live/`."""

from __future__ import annotations

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.drawing.palette import BLUE, GREY, GRID
from meterlog.drawing.primitives import layout as figure_layout
from meterlog_dashboard.cautions.panel import cautions_panel
from meterlog_dashboard.downloads.links import session_links
from meterlog_dashboard.frame.addresses import session_address
from meterlog_dashboard.frame.elements import USUAL_MARKERS, attributes, skeleton
from meterlog_dashboard.frame.view import Context

ALERTS = {"sound": "Sound", "speech": "Speech", "vibration": "Vibration", "screen": "Screen stays on"}
"""Ways in which the page calls a person."""


def layout(context: Context, name: str) -> Component:
    """The page.

    Raises:
        NotASession: there is none of that name.
    """
    context.folder.file(name)
    return html.Div(
        [
            _now(),
            html.Div([html.H1("Live"), html.Span("", id="live-state", role="status")], className="row live-head"),
            cautions_panel(),
            html.Div(
                [
                    html.Div(skeleton("Asking for the readings", 3), id="readouts"),
                    dcc.Graph(
                        id="strip-chart",
                        figure={"data": [], "layout": figure_layout(260)},
                        config={"staticPlot": True},
                    ),
                ],
                className="live-view",
            ),
            html.P("", id="live-said", role="status", className="soft"),
            html.Section([html.H2("What happened"), html.P("", id="live-none"), html.Ol(id="live-events")]),
            _alerts(),
            html.Div(session_links(name), id="live-take", className="row", hidden=True),
            _acts(name),
        ],
        id="live",
        **attributes(data_name=name, data_colours=BLUE, data_grid=GRID, data_marker=GREY),
    )


def _now() -> Component:
    """Return what is so now, how the link is, and what was not seen yet: three places, none of which hides another."""
    band = html.Div(
        [html.Strong("Asking what is so now", id="band-word"), html.Span("", id="band-text")],
        id="band",
        className="band calm",
        **attributes(aria_live="off"),  # it changes with every reading
    )
    told = html.P("", id="begun", role="alert", className="unseen-words")
    link = html.P("", id="link-now", className="link-now", **attributes(aria_live="off"))
    unseen = html.Div(
        [html.Span("", id="unseen-words"), html.Button("Seen", id="unseen-seen")],
        id="unseen",
        role="status",
        className="unseen",
        hidden=True,
    )
    return html.Div([band, link, unseen, told], className="now")


def _alerts() -> Component:
    """One switch for each way in which the page calls a person; `alerts.js` remembers them."""
    buttons = [
        html.Button(f"{words}: off", id=f"alert-{key}", **attributes(data_alert=key, aria_pressed="false"))
        for key, words in ALERTS.items()
    ]
    return html.Section(
        [html.H2("When something begins", id="alerts-title"), html.Div(buttons, className="row")],
        role="group",
        **attributes(aria_labelledby="alerts-title"),
    )


def _acts(name: str) -> Component:
    """Markers and Stop, at the thumb and always on the screen; after the end the way on in their place."""
    stop = html.Button("Stop", id="stop", className="stop")
    review = dcc.Link("Review this session", href=session_address(name), className="button main review-now")
    return html.Section([*_markers(), review, stop], className="live-acts", **attributes(aria_label="Markers and Stop"))


def _markers() -> list[Component]:
    buttons = [html.Button(name, className="marker-button", **attributes(data_mark=name)) for name in USUAL_MARKERS]
    text = dcc.Input(id="mark-text", type="text", autoComplete="off", placeholder="wiggle at plug", maxLength=200)
    label = html.Label("Your own words", htmlFor="mark-text")
    return [
        html.Div(buttons, className="marker-buttons"),
        html.Div([label, text, html.Button("Set marker", id="mark-typed")], className="marker-typed"),
    ]
