"""Review: one session's channels on one time axis, its events, findings and markers."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from dash import ClientsideFunction, Dash, Input, Output, Patch, State, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.drawing.primitives import Figure
from meterlog.drawing.row import Row, Window
from meterlog.drawing.scale import fixed_scales
from meterlog.errors import MeterlogError, NotASession, SessionError
from meterlog.text.figures import seconds
from meterlog_dashboard.aside.acts import file_acts
from meterlog_dashboard.downloads.links import session_links
from meterlog_dashboard.frame.addresses import job_address
from meterlog_dashboard.frame.elements import PLOT, STRIP_PLOT, attributes, skeleton
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.review import cursors
from meterlog_dashboard.review import markers as review_markers
from meterlog_dashboard.review import roles as review_roles
from meterlog_dashboard.review import texts as review_texts
from meterlog_dashboard.review.asked import Asked
from meterlog_dashboard.review.clock import Clock
from meterlog_dashboard.review.controls import controls
from meterlog_dashboard.review.figures import detail_axis, detail_figure, draw_window, strip_figure, strip_window
from meterlog_dashboard.review.tables import (
    EVENTS_A_PAGE,
    event_sentence,
    event_table,
    statistics_table,
)
from meterlog_dashboard.review.verdict import verdict
from meterlog_dashboard.session_files.folder import job_of

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

Span = tuple[float, float]
"""A stretch of time, s from the session's start."""

_REFRESH_MS = 2000
"""A session that is being recorded is looked at so often, ms; a guess: each look reads it again."""
_GROWS = "It is being recorded; the plot follows."


def layout(context: Context, name: str, query: Mapping[str, str]) -> Component:
    """The Review of one session: the stretch and the event that its address names, else all of it."""
    session = context.opened.loaded(name)
    clock = Clock(session.started_at, session.duration_s)
    whole = _whole(session)
    asked = Asked.of(query, whole)
    return html.Div(
        [
            *_stores(name, session, clock, asked),
            _heading(context, name, session, clock),
            html.P(asked.refused, className="note") if asked.refused else None,
            html.Div(
                [
                    html.Section(
                        [html.H2("Findings"), html.Div(skeleton("Judging the readings", 4), id="review-findings")],
                        className="verdicts",
                    ),
                    html.Section(_plots(session, clock, whole, asked), **attributes(aria_label="Plots")),
                ],
                className="verdict-and-curves",
            ),
            html.Section([html.H2("In view"), html.Div(statistics_table(session, asked.span), id="review-statistics")]),
            html.Section([html.H2("Events"), html.Div(skeleton("Looking for events", 3), id="review-events")]),
            html.Section([html.H2("Markers"), *review_markers.parts(session, clock)]),
            html.Section([html.H2("Channels"), *review_roles.parts(session), *review_texts.parts(session)]),
            html.Section([html.H2("Take it away, go on"), _links(name), _acts(name)]),
        ],
        className="review",
    )


def _whole(session: Loaded) -> Span:
    """All of it with a little room at the ends."""
    pad_s = max(0.5, 0.01 * session.duration_s)
    return -pad_s, session.duration_s + pad_s


def _length(session: Loaded, clock: Clock) -> dict[str, Any]:
    """The length of the session so far, for `review.js`."""
    start_ms = float(clock.ms(0.0))  # of the time of day; from the start it is 0
    return {"duration_s": session.duration_s, "whole": _whole(session), "start_ms": start_ms, "ended": session.ended}


def _state(session: Loaded) -> str:
    """Return what is to be known of the session: that it grows, ended hard, or is damaged."""
    return " ".join(session.notes) or (_GROWS if session.ended == "growing" else "")


def _stores(name: str, session: Loaded, clock: Clock, asked: Asked) -> list[Component]:
    shown = {"span": asked.span, "moves": 0, "duration_s": session.duration_s, "times": "day", "fitted": asked.fitted}
    growing = session.ended == "growing"
    return [
        dcc.Store(id="review-name", data=name),
        dcc.Store(id="review-length", data=_length(session, clock)),
        dcc.Store(id="review-span", data=shown),
        dcc.Store(id="strip-times", data="day"),
        dcc.Store(id="review-grows", data=growing),
        dcc.Store(id="review-analyzed", data=0),
        dcc.Store(id="review-chosen", data=asked.event),
        dcc.Store(id="event-times", data=[]),
        dcc.Store(id="event-page"),
        dcc.Interval(id="review-tick", interval=_REFRESH_MS, disabled=not growing),
    ]


def _heading(context: Context, name: str, session: Loaded, clock: Clock) -> Component:
    facts = f"{session.started_at:%Y-%m-%d %H:%M:%S} {clock.zone}, {seconds(session.duration_s)}, {name}. "
    return html.Div(
        [
            html.H1(review_texts.title(name, session), id="review-title"),
            _its_job(context, name),
            html.P([facts, html.Span(_state(session), id="review-state", role="status")], className="soft"),
            html.P(clock.change[1], className="note") if clock.change else None,
        ]
    )


def _its_job(context: Context, name: str) -> Component | None:
    """Say to which job the session belongs, with the way to it."""
    job = job_of(name)
    if not job:
        return None
    try:
        called = context.jobs.read(job).title or job
    except MeterlogError:  # its own page says what is wrong with it
        called = job
    return html.P(["This session belongs to the job ", dcc.Link(called, href=job_address(job)), "."], id="review-job")


def _acts(name: str) -> Component | None:
    """Rename and remove; a job's session stays, because the job's steps name it."""
    return None if job_of(name) else file_acts("session", name)


def _links(name: str) -> Component:
    asked = quote(name, safe="")
    return html.Div(
        [
            *session_links(name),
            dcc.Link("Compare with known-good", href=f"/compare?suspect={asked}", className="button"),
            dcc.Link("Compare with before", href=f"/compare?after={asked}", className="button"),
            dcc.Link("Which part is it?", href=f"/circuit?session={asked}", className="button"),
        ],
        className="row",
    )


def _plots(session: Loaded, clock: Clock, whole: Span, asked: Asked) -> list[Component]:
    rows = _rows(session, analyzed=False, fitted=asked.fitted)
    window = draw_window(rows, session.markers, clock, asked.span)
    strip = strip_figure(_rows(session, analyzed=False), clock, whole, asked.span)
    names = ", ".join(row.title for row in rows)
    return [
        html.P("The whole session. Drag the frame, or press a place:", className="soft small"),
        html.Div(
            dcc.Graph(id="strip", figure=strip, config=STRIP_PLOT),
            role="img",
            **attributes(aria_label=f"The session: {names}"),
        ),
        *controls(),
        html.P("Press an event, a finding, or the keys n and p.", id="event-said", role="status"),
        html.Div(
            [
                html.Div(
                    dcc.Graph(id="detail", figure=detail_figure(window, rows, clock, asked.span), config=PLOT),
                    role="img",
                    **attributes(aria_label=f"Readings over time: {names}. The tables below say the same in words."),
                ),
                *cursors.handles(),
            ],
            id="detail-frame",
        ),
        html.P(_limits(window), id="review-limits", className="soft small"),
        *cursors.parts(),
    ]


def _limits(window: Window) -> str:
    """Name the dashed lines that are to be seen."""
    return f"Dashed lines are limits. {'; '.join(window.limits)}." if window.limits else ""


def _rows(session: Loaded, analyzed: bool, fitted: bool = False) -> list[Row]:
    """The rows to draw; with events and limits only once the analysis is wanted, on fixed scales unless `fitted`."""
    scales = {} if fitted else fixed_scales(session)
    numbered = list(enumerate(session.analysis.events, 1)) if analyzed else []
    return [
        Row(
            channel,
            session.series(channel.number),
            [(n, e) for n, e in numbered if e.channel == channel.number],
            session.analysis.lines(channel.number) if analyzed else (),
            scales.get(channel.number),
        )
        for channel in session.channels
    ]


def register(app: Dash, context: Context) -> None:
    """Add its callbacks."""
    review_markers.register(app, context)
    review_roles.register(app, context)
    review_texts.register(app, context)
    cursors.register(app, context)
    _listen_to_plots(app)
    _register_growing(app, context)
    _register_explaining(app, context)
    _register_drawing(app, context)


def _listen_to_plots(app: Dash) -> None:
    """Pass the plots' news to `review.js`, which decides what stretch is shown and which event is chosen."""
    for function, plot, news in (
        ("eventPressed", "detail", "clickData"),
        ("stripDragged", "strip", "relayoutData"),
        ("stripPressed", "strip", "clickData"),
        ("grown", "review-length", "data"),
    ):
        app.clientside_callback(  # type: ignore[no-untyped-call]
            ClientsideFunction("meterlog", function), Input(plot, news), prevent_initial_call=True
        )


def _register_growing(app: Dash, context: Context) -> None:
    """Tell the browser how long the session is by now, until it has ended."""
    opened = context.opened

    @app.callback(
        Output("review-length", "data"),
        Output("review-state", "children"),
        Output("review-tick", "disabled"),
        Input("review-tick", "n_intervals"),
        State("review-length", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def grow(_: int, before: dict[str, Any], name: str) -> tuple[Any, str, bool]:
        try:
            session = opened.loaded(name)
        except SessionError as error:  # for a moment while its recorder closes it: the next tick looks again
            if isinstance(error, NotASession) and not (context.folder.path / name).exists():
                return no_update, context.said(error), True
            raise PreventUpdate from None
        length = _length(session, Clock(session.started_at, session.duration_s))
        if (length["duration_s"], length["ended"]) == (before["duration_s"], before["ended"]):
            raise PreventUpdate
        return length, _state(session), session.ended != "growing"


def _register_explaining(app: Dash, context: Context) -> None:
    """Fill in the findings and the table of events."""
    opened = context.opened

    @app.callback(
        Output("review-findings", "children"),
        Output("review-analyzed", "data"),
        Output("event-times", "data"),
        Input("review-name", "data"),
        Input("markers-changed", "data"),
        Input("review-length", "data"),
    )
    def explain(name: str, *_: object) -> tuple[Component, int, list[Span]]:
        session = opened.loaded(name)
        times = [(event.start_s, event.end_s) for event in session.analysis.events]
        return verdict(session), time.time_ns(), times

    @app.callback(
        Output("review-events", "children"),
        Output("event-said", "children"),
        Input("review-analyzed", "data"),
        Input("review-chosen", "data"),
        Input("event-page", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def list_events(analyzed: int, chosen: int | None, page: dict[str, int] | None, name: str) -> tuple[Component, Any]:
        if not analyzed:
            raise PreventUpdate
        first = page["first"] if page else (chosen or 1) - 1
        session = opened.loaded(name)
        listed = event_table(session, Clock(session.started_at, session.duration_s), chosen, first // EVENTS_A_PAGE)
        return listed, event_sentence(session, chosen) if chosen else no_update


def _register_drawing(app: Dash, context: Context) -> None:
    """Redraw when the browser moves the stretch. Dash drops the answer to an older request."""
    opened = context.opened

    @app.callback(
        Output("detail", "figure"),
        Output("strip", "figure"),
        Output("strip-times", "data"),
        Output("review-statistics", "children"),
        Output("review-limits", "children"),
        Input("review-span", "data"),
        Input("review-analyzed", "data"),
        State("review-chosen", "data"),
        State("review-grows", "data"),
        State("strip-times", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def draw(
        shown: dict[str, Any], analyzed: int, chosen: int | None, grows: bool, drawn_times: str, name: str
    ) -> tuple[Any, ...]:
        session = opened.loaded(name)
        times = "start" if shown["times"] == "start" else "day"
        clock = Clock(session.started_at, session.duration_s, from_start=times == "start")
        span: Span = (shown["span"][0], shown["span"][1])
        rows = _rows(session, bool(analyzed), bool(shown["fitted"]))
        window = draw_window(rows, session.markers, clock, span, chosen)
        whole = _whole(session)
        strip: Patch | Figure = Patch()
        if grows or times != drawn_times:
            strip = strip_figure(_rows(session, analyzed=False), clock, whole, span)
        else:
            strip["layout"]["shapes"][0] = strip_window(clock, span, whole)
        return (
            _patch(window, clock, span, shown["moves"]),
            strip,
            times,
            statistics_table(session, span),
            _limits(window),
        )


def _patch(window: Window, clock: Clock, span: Span, moves: int) -> Patch:
    """The changes to the detail plot; `moves` counts how often it was moved: the last move wins over the plot's own."""
    patch = Patch()
    for place, trace in enumerate(window.traces):
        patch["data"][place] = trace
    patch["layout"]["shapes"] = window.shapes
    patch["layout"]["annotations"] = window.words
    for place, heights in enumerate(window.heights):
        patch["layout"]["yaxis" if place == 0 else f"yaxis{place + 1}"]["range"] = list(heights)
    patch["layout"]["xaxis"] = detail_axis(clock, span, len(window.heights)) | {"uirevision": moves}
    return patch
