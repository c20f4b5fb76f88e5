"""Review: one session's channels on one time axis, its events, findings and markers."""

from __future__ import annotations

import time
from collections.abc import Mapping
from typing import Any
from urllib.parse import quote

from dash import Dash, Input, Output, Patch, State, ctx, dcc, html
from dash.development.base_component import Component
from dash.exceptions import PreventUpdate

from meterlog.findings.words import seconds
from meterlog_dashboard import review_markers
from meterlog_dashboard.clock import Clock
from meterlog_dashboard.downloads import report_address, table_address
from meterlog_dashboard.figures import Figure
from meterlog_dashboard.figures_review import Row, Window, detail_figure, draw_window, strip_figure, strip_window
from meterlog_dashboard.limit_lines import limit_lines
from meterlog_dashboard.parts import PLOT, extra
from meterlog_dashboard.review_tables import (
    EVENTS_A_PAGE,
    event_sentence,
    event_table,
    finding_list,
    statistics_table,
)
from meterlog_dashboard.shelf import Held, shelf_of
from meterlog_dashboard.view import Shop

Span = tuple[float, float]

_SHORTEST_S = 0.02
_REFRESH_MS = 2000
_STATES = {
    "clean": "",
    "hard": "It ended without being closed; all that was saved is here.",
    "growing": "It is being recorded: the plot follows.",
}


def layout(shop: Shop, name: str, query: Mapping[str, str]) -> Component:
    """The Review of one session; `at` in the query is the moment to begin with, s from the start."""
    held = shelf_of(shop.library).held(name)
    clock = Clock(held.started_at, held.duration_s)
    whole = _whole(held)
    span = _around(_number(query.get("at")), whole)
    return html.Div(
        [
            *_stores(name, held, span),
            _heading(name, held, clock),
            _links(name),
            html.Section(_plots(held, clock, whole, span), **extra(aria_label="Plots")),
            html.Section(
                [html.H2("What is to be seen"), html.Div(statistics_table(held, span), id="review-statistics")]
            ),
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
        dcc.Store(id="review-span", data=[*span, held.duration_s]),
        dcc.Store(id="review-analyzed", data=0),
        dcc.Store(id="review-chosen"),
        dcc.Store(id="event-row"),
        dcc.Store(id="event-page"),
        dcc.Store(id="go-to"),
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
    moves = (("earlier", "◀ Earlier"), ("later", "Later ▶"), ("closer", "Closer"), ("wider", "Wider"), ("all", "All"))
    events = (("event-previous", "◀ Event (p)"), ("event-next", "Event ▶ (n)"))
    names = ", ".join(row.title for row in rows)
    return [
        html.P("All of it; move the frame, or press a place:", className="soft small"),
        html.Div(
            dcc.Graph(id="strip", figure=strip, config=PLOT), role="img", **extra(aria_label=f"The session: {names}")
        ),
        html.Div(
            [
                *(html.Button(words, id=f"move-{move}") for move, words in moves),
                *(html.Button(words, id=id_) for id_, words in events),
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


def _whole(held: Held) -> Span:
    pad_s = max(0.5, 0.01 * held.duration_s)
    return -pad_s, held.duration_s + pad_s


def _around(at_s: float | None, whole: Span) -> Span:
    return whole if at_s is None else _clipped(at_s - 10.0, at_s + 10.0, whole)


def _number(text: str | None) -> float | None:
    try:
        return None if text is None else float(text)
    except ValueError:
        return None


def _clipped(start_s: float, end_s: float, whole: Span) -> Span:
    """A stretch moved and cut so that it lies within the session."""
    length_s = min(max(end_s - start_s, _SHORTEST_S), whole[1] - whole[0])
    start_s = min(max(start_s, whole[0]), whole[1] - length_s)
    return start_s, start_s + length_s


def register(app: Dash, shop: Shop) -> None:
    """Add its callbacks."""
    review_markers.register(app, shop)
    shelf = shelf_of(shop.library)

    @app.callback(
        Output("review-findings", "children"),
        Output("review-analyzed", "data"),
        Input("review-name", "data"),
        Input("markers-changed", "data"),
    )
    def explain(name: str, _: object) -> tuple[Component, int]:
        held = shelf.held(name)
        return finding_list(held), time.time_ns()

    @app.callback(
        Output("review-chosen", "data"),
        Output("event-said", "children"),
        Input("event-row", "data"),
        Input("event-next", "n_clicks"),
        Input("event-previous", "n_clicks"),
        Input("detail", "clickData"),
        State("review-chosen", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def choose(
        row: dict[str, Any] | None, _: int, __: int, click: dict[str, Any] | None, chosen: int | None, name: str
    ) -> tuple[int, str]:
        held = shelf.held(name)
        number = _wanted_event(held, row, click, chosen)
        return number, event_sentence(held, number)

    @app.callback(
        Output("review-events", "children"),
        Input("review-analyzed", "data"),
        Input("review-chosen", "data"),
        Input("event-page", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def list_events(analyzed: int, chosen: int | None, page: dict[str, int] | None, name: str) -> Component:
        if not analyzed:
            raise PreventUpdate
        first = page["first"] if page and ctx.triggered_id == "event-page" else ((chosen or 1) - 1)
        held = shelf.held(name)
        return event_table(held, Clock(held.started_at, held.duration_s), chosen, first // EVENTS_A_PAGE)

    @app.callback(
        Output("detail", "figure"),
        Output("strip", "figure"),
        Output("review-statistics", "children"),
        Output("review-span", "data"),
        Input("detail", "relayoutData"),
        Input("strip", "relayoutData"),
        Input("strip", "clickData"),
        *(Input(f"move-{move}", "n_clicks") for move in ("earlier", "later", "closer", "wider", "all")),
        Input("review-chosen", "data"),
        Input("go-to", "data"),
        Input("review-analyzed", "data"),
        Input("review-tick", "n_intervals"),
        State("review-span", "data"),
        State("review-name", "data"),
        prevent_initial_call=True,
    )
    def draw(*values: Any) -> tuple[Any, ...]:
        *_, shown, name = values
        held = shelf.held(name)
        clock = Clock(held.started_at, held.duration_s)
        old: Span = (shown[0], shown[1])
        span, moved = _next_span(held, clock, values, old, shown[2])
        analyzed, chosen = bool(values[10]), values[8]
        rows = _rows(held, analyzed)
        window = draw_window(rows, held.markers, clock, span, chosen)
        strip: Patch | Figure = Patch()
        if shown[2] != held.duration_s:
            strip = strip_figure(rows, clock, _whole(held), span)
        else:
            strip["layout"]["shapes"][0] = strip_window(clock, span)
        detail = _patch(window, clock, span if moved else None)
        return detail, strip, statistics_table(held, span), [*span, held.duration_s]


def _patch(window: Window, clock: Clock, moved_to: Span | None) -> Patch:
    """What of the detail changes; its range only where the page moved it, never under a person's hand."""
    patch = Patch()
    for place, trace in enumerate(window.traces):
        patch["data"][place] = trace
    patch["layout"]["shapes"] = window.shapes
    patch["layout"]["annotations"] = window.words
    for place, heights in enumerate(window.heights):
        patch["layout"]["yaxis" if place == 0 else f"yaxis{place + 1}"]["range"] = list(heights)
    if moved_to is not None:
        patch["layout"]["xaxis"]["range"] = clock.ms(moved_to).tolist()
        patch["layout"]["xaxis"]["uirevision"] = time.time_ns()
    return patch


def _next_span(
    held: Held, clock: Clock, values: tuple[Any, ...], old: Span, old_duration_s: float
) -> tuple[Span, bool]:
    """The stretch to show after what was done, and whether the page has to move the plot there itself."""
    whole, done = _whole(held), str(ctx.triggered_id)
    start_s, end_s = old
    length_s = end_s - start_s
    moves = {
        "move-earlier": (start_s - 0.5 * length_s, end_s - 0.5 * length_s),
        "move-later": (start_s + 0.5 * length_s, end_s + 0.5 * length_s),
        "move-closer": (start_s + 0.25 * length_s, end_s - 0.25 * length_s),
        "move-wider": (start_s - 0.5 * length_s, end_s + 0.5 * length_s),
        "move-all": whole,
    }
    if done in moves:
        return _clipped(*moves[done], whole), True
    if done == "detail":
        return _dragged(values[0], "xaxis.range", clock), False
    if done == "strip":
        return _strip_span(values[1], values[2], clock, old, whole), True
    if done == "review-chosen" and values[8]:
        event = held.analysis.events[values[8] - 1]
        pad_s = max(3.0, event.end_s - event.start_s)
        if start_s <= event.start_s and event.end_s <= end_s and length_s <= 20 * pad_s:
            return old, False
        return _clipped(event.start_s - pad_s, event.end_s + pad_s, whole), True
    if done == "go-to" and values[9]:
        at_s = float(values[9]["at"])
        return _clipped(at_s - 10.0, at_s + 10.0, whole), True
    if done == "review-tick" and held.duration_s == old_duration_s:
        raise PreventUpdate
    if done == "review-tick" and end_s >= old_duration_s:
        grown_s = held.duration_s - old_duration_s
        following = start_s if start_s <= 0 else start_s + grown_s
        return (following, end_s + grown_s), True
    return old, False


def _dragged(relayout: dict[str, Any] | None, key: str, clock: Clock) -> Span:
    """The range that a person set by hand.

    Raises:
        PreventUpdate: something else was changed.
    """
    relayout = relayout or {}
    ends = relayout.get(key) or [relayout.get(f"{key}[0]"), relayout.get(f"{key}[1]")]
    if None in ends:
        raise PreventUpdate
    start_s, end_s = sorted(clock.seconds(end) for end in ends)
    return start_s, max(end_s, start_s + _SHORTEST_S)


def _strip_span(
    relayout: dict[str, Any] | None, click: dict[str, Any] | None, clock: Clock, old: Span, whole: Span
) -> Span:
    """Where the frame of the strip was dragged to, or the place that was pressed."""
    if any(entry["prop_id"] == "strip.clickData" for entry in ctx.triggered) and click:
        at_s, half_s = clock.seconds(click["points"][0]["x"]), (old[1] - old[0]) / 2
        if half_s > 0.45 * (whole[1] - whole[0]):
            half_s = 0.05 * (whole[1] - whole[0])
        return _clipped(at_s - half_s, at_s + half_s, whole)
    ends = [(relayout or {}).get(f"shapes[0].{end}") for end in ("x0", "x1")]
    if None in ends:
        raise PreventUpdate
    start_s, end_s = sorted(clock.seconds(end) for end in ends if end is not None)
    return _clipped(start_s, end_s, whole)


def _wanted_event(held: Held, row: dict[str, Any] | None, click: dict[str, Any] | None, chosen: int | None) -> int:
    """The number of the event that a person asked for, from 1.

    Raises:
        PreventUpdate: there is none.
    """
    events = held.analysis.events
    if not events:
        raise PreventUpdate
    done = ctx.triggered_id
    if done == "event-row" and row:
        wanted = int(row["number"])
    elif done == "detail":
        found = (click or {"points": [{}]})["points"][0].get("customdata")
        if found is None:
            raise PreventUpdate
        wanted = int(found)
    else:
        wanted = (chosen or 0) + 1 if done == "event-next" else (chosen or len(events) + 1) - 1
    return min(max(wanted, 1), len(events))
