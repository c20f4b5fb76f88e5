"""Review: one session's channels on one time axis, its events, findings and markers."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from dash import ClientsideFunction, Dash, Input, Output, Patch, State, ctx, dcc, html, no_update
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.findings.words import seconds
from meterlog_dashboard import review_markers
from meterlog_dashboard.clock import Clock
from meterlog_dashboard.downloads import report_address, table_address
from meterlog_dashboard.figures import Figure
from meterlog_dashboard.figures_review import Row, Window, detail_figure, draw_window, strip_figure, strip_window
from meterlog_dashboard.limit_lines import limit_lines
from meterlog_dashboard.parts import PLOT, STRIP_PLOT, extra
from meterlog_dashboard.review_span import MOVES, Session, Span, dragged
from meterlog_dashboard.review_tables import (
    EVENTS_A_PAGE,
    event_sentence,
    event_table,
    finding_list,
    statistics_table,
)
from meterlog_dashboard.shelf import Held, shelf_of
from meterlog_dashboard.view import Shop

_REFRESH_MS = 2000
_STATES = {
    "clean": "",
    "hard": "It ended without being closed; all that was saved is here.",
    "growing": "It is being recorded: the plot follows.",
}


@dataclass(frozen=True, slots=True)
class Asked:
    """What the browser sent: ends dragged in the detail and in the strip, the chosen event, a moment to go to."""

    dragged: dict[str, Any] | None
    strip: dict[str, Any] | None
    chosen: int | None
    go_to: dict[str, Any] | None


def layout(shop: Shop, name: str, query: Mapping[str, str]) -> Component:
    """The Review of one session; `at` in the query is the moment to begin with, s from the start."""
    held = shelf_of(shop.library).held(name)
    clock = Clock(held.started_at, held.duration_s)
    session = Session(held.duration_s)
    at_s = _number(query.get("at"))
    whole = session.whole
    span = whole if at_s is None else session.around(at_s)
    return html.Div(
        [
            *_stores(name, held, span),
            _heading(name, held, clock),
            _links(name),
            html.Section(_plots(held, clock, whole, span), **extra(aria_label="Plots")),
            html.Section([html.H2("In view"), html.Div(statistics_table(held, span), id="review-statistics")]),
            html.Section([html.H2("Findings"), html.Div(html.P("Reading …"), id="review-findings")]),
            html.Section([html.H2("Events"), html.Div(id="review-events")]),
            html.Section([html.H2("Markers"), *review_markers.parts(held, clock)]),
        ],
        className="review",
    )


def _stores(name: str, held: Held, span: Span) -> list[Component]:
    following = dcc.Interval(id="review-tick", interval=_REFRESH_MS, disabled=held.ended != "growing")
    return [
        dcc.Store(id="review-name", data=name),
        dcc.Store(id="review-span", data={"span": span, "duration_s": held.duration_s, "moves": 0}),
        dcc.Store(id="review-analyzed", data=0),
        dcc.Store(id="review-chosen"),
        dcc.Store(id="event-row"),
        dcc.Store(id="event-count"),
        dcc.Store(id="event-page"),
        dcc.Store(id="go-to"),
        dcc.Store(id="dragged"),
        dcc.Store(id="strip-dragged"),
        following,
    ]


def _heading(name: str, held: Held, clock: Clock) -> Component:
    case = " · ".join(held.details[key] for key in ("vehicle", "complaint") if held.details.get(key))
    facts = f"{held.started_at:%Y-%m-%d %H:%M:%S} {clock.zone}, {seconds(held.duration_s)}, {name}. "
    return html.Div(
        [
            html.H1(case or name.removesuffix(".sqlite")),
            html.P(facts + _STATES[held.ended], className="soft"),
            html.P(clock.change[1], className="note") if clock.change else None,
        ]
    )


def _links(name: str) -> Component:
    asked = quote(name, safe="")
    return html.Div(
        [
            html.A("Report", href=report_address(name), className="button main", download=""),
            html.A("CSV", href=table_address(name, "csv"), className="button", download=""),
            html.A("Parquet", href=table_address(name, "parquet"), className="button", download=""),
            dcc.Link("Compare with known-good", href=f"/compare?suspect={asked}", className="button"),
            dcc.Link("Which part is it?", href=f"/circuit?session={asked}", className="button"),
        ],
        className="row",
    )


def _plots(held: Held, clock: Clock, whole: Span, span: Span) -> list[Component]:
    rows = _rows(held, analyzed=False)
    window = draw_window(rows, held.markers, clock, span)
    strip = strip_figure(rows, clock, whole, span)
    moves = (
        ("earlier", "◀", "Earlier"),
        ("later", "▶", "Later"),
        ("closer", "+", "Closer"),
        ("wider", "−", "Wider"),
        ("all", "All", "All of the session"),
    )
    events = (("event-previous", "◀ Event", "Previous event, key p"), ("event-next", "Event ▶", "Next event, key n"))
    names = ", ".join(row.title for row in rows)
    return [
        html.P("All of it; move the frame, or press a place:", className="soft small"),
        html.Div(
            dcc.Graph(id="strip", figure=strip, config=STRIP_PLOT),
            role="img",
            **extra(aria_label=f"The session: {names}"),
        ),
        html.Div(
            [
                *(
                    html.Button(sign, id=f"move-{move}", title=words, **extra(aria_label=words))
                    for move, sign, words in moves
                ),
                *(html.Button(sign, id=id_, title=words) for id_, sign, words in events),
            ],
            className="row sticky",
        ),
        html.P("Find the events with n and p, or the buttons.", id="event-said", role="status"),
        html.Div(
            dcc.Graph(id="detail", figure=detail_figure(window, rows, clock, span), config=PLOT),
            role="img",
            **extra(aria_label=f"Readings over time: {names}. The tables below say the same in words."),
        ),
    ]


def _rows(held: Held, analyzed: bool) -> list[Row]:
    """The rows to draw; with events and limits only once the analysis is wanted."""
    if not analyzed:
        return [Row(channel, held.series(channel.number)) for channel in held.channels]
    numbered = list(enumerate(held.analysis.events, 1))
    return [
        Row(
            channel,
            held.series(channel.number),
            [(n, e) for n, e in numbered if e.channel == channel.number],
            limit_lines(held, channel),
        )
        for channel in held.channels
    ]


def _number(text: str | None) -> float | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return None


def register(app: Dash, shop: Shop) -> None:
    """Add its callbacks."""
    review_markers.register(app, shop)
    _listen_to_plots(app)
    shelf = shelf_of(shop.library)

    @app.callback(
        Output("review-findings", "children"),
        Output("review-analyzed", "data"),
        Output("event-count", "data"),
        Input("review-name", "data"),
        Input("markers-changed", "data"),
    )
    def explain(name: str, _: object) -> tuple[Component, int, int]:
        held = shelf.held(name)
        return finding_list(held), time.time_ns(), len(held.analysis.events)

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
        first = page["first"] if page and ctx.triggered_id == "event-page" else ((chosen or 1) - 1)
        held = shelf.held(name)
        listed = event_table(held, Clock(held.started_at, held.duration_s), chosen, first // EVENTS_A_PAGE)
        return listed, event_sentence(held, chosen) if chosen else no_update

    _register_drawing(app, shop)


def _register_drawing(app: Dash, shop: Shop) -> None:
    """Two steps, so that a later reason to draw never undoes an earlier move: where to be, then what is there."""
    shelf = shelf_of(shop.library)

    @app.callback(
        Output("review-span", "data"),
        Input("dragged", "data"),
        Input("strip-dragged", "data"),
        Input("review-chosen", "data"),
        Input("go-to", "data"),
        Input("review-tick", "n_intervals"),
        State("review-span", "data"),
        State("review-name", "data"),
        *(Input(f"move-{move}", "n_clicks") for move in MOVES),
        prevent_initial_call=True,
    )
    def place(
        by_hand: dict[str, Any] | None,
        strip: dict[str, Any] | None,
        chosen: int | None,
        go_to: dict[str, Any] | None,
        _: int,
        shown: dict[str, Any],
        name: str,
        *__: int,
    ) -> dict[str, Any]:
        held = shelf.held(name)
        clock = Clock(held.started_at, held.duration_s)
        old: Span = (shown["span"][0], shown["span"][1])
        span, moved = _next_span(held, clock, Asked(by_hand, strip, chosen, go_to), old, shown["duration_s"])
        return {"span": span, "duration_s": held.duration_s, "moves": shown["moves"] + moved}

    @app.callback(
        Output("detail", "figure"),
        Output("strip", "figure"),
        Output("review-statistics", "children"),
        Input("review-span", "data"),
        Input("review-chosen", "data"),
        Input("review-analyzed", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def draw(shown: dict[str, Any], chosen: int | None, analyzed: int, name: str) -> tuple[Any, ...]:
        held = shelf.held(name)
        clock = Clock(held.started_at, held.duration_s)
        span: Span = (shown["span"][0], shown["span"][1])
        rows = _rows(held, bool(analyzed))
        window = draw_window(rows, held.markers, clock, span, chosen)
        whole = Session(held.duration_s).whole
        strip: Patch | Figure = Patch()
        if held.ended == "growing":
            strip = strip_figure(rows, clock, whole, span)
        else:
            strip["layout"]["shapes"][0] = strip_window(clock, span, whole)
        return _patch(window, clock, span, shown["moves"]), strip, statistics_table(held, span)


def _listen_to_plots(app: Dash) -> None:
    """What is dragged in the plots, without their other news, and every press for an event: `assets/review.js`."""
    choosing = (
        ("event-row", "data"),
        ("event-next", "n_clicks"),
        ("event-previous", "n_clicks"),
        ("detail", "clickData"),
    )
    known = (("review-chosen", "data"), ("event-count", "data"))
    for function, out, inputs, states in (
        ("dragged", "dragged", (("detail", "relayoutData"),), ()),
        ("stripDragged", "strip-dragged", (("strip", "relayoutData"), ("strip", "clickData")), ()),
        ("chosen", "review-chosen", choosing, known),
    ):
        app.clientside_callback(  # type: ignore[no-untyped-call]
            ClientsideFunction("meterlog", function),
            Output(out, "data"),
            *(Input(*one) for one in inputs),
            *(State(*one) for one in states),
            prevent_initial_call=True,
        )


def _patch(window: Window, clock: Clock, span: Span, moves: int) -> Patch:
    """What of the detail changes; `moves` counts how often the page, not a person's hand, moved it."""
    patch = Patch()
    for place, trace in enumerate(window.traces):
        patch["data"][place] = trace
    patch["layout"]["shapes"] = window.shapes
    patch["layout"]["annotations"] = window.words
    for place, heights in enumerate(window.heights):
        patch["layout"]["yaxis" if place == 0 else f"yaxis{place + 1}"]["range"] = list(heights)
    patch["layout"]["xaxis"]["range"] = clock.ms(span).tolist()
    patch["layout"]["xaxis"]["uirevision"] = moves
    return patch


def _next_span(held: Held, clock: Clock, asked: Asked, old: Span, old_duration_s: float) -> tuple[Span, bool]:
    """The stretch to show after what was done, and whether the page has to move the plot there itself.

    Raises:
        PreventUpdate: nothing changes.
    """
    session, done = Session(held.duration_s), str(ctx.triggered_id)
    if done.startswith("move-"):
        return session.moved(done.removeprefix("move-"), old), True
    if done == "dragged" and asked.dragged:
        return dragged([clock.seconds(end) for end in asked.dragged["ends"]]), False
    if done == "strip-dragged" and asked.strip:
        ends_s = [clock.seconds(end) for end in asked.strip["ends"]]
        return (session.pressed(ends_s[0], old) if len(ends_s) == 1 else session.clipped(*dragged(ends_s))), True
    if done == "review-chosen" and asked.chosen:
        span = session.on_event(held.analysis.events[asked.chosen - 1], old)
        return span, span != old
    if done == "go-to" and asked.go_to:
        return session.around(float(asked.go_to["at"])), True
    if done == "review-tick":
        if held.duration_s == old_duration_s:
            raise PreventUpdate
        span = session.followed(old, old_duration_s)
        return span, span != old
    return old, False
