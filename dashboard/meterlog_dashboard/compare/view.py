"""Known-good sessions against a suspect one: laid over each other, the difference, the measures and their verdicts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from dash import Dash, Input, Output, State, ctx, dcc, html
from dash.development.base_component import Component

from meterlog.errors import MeterlogError
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog_dashboard.downloads import report_address
from meterlog_dashboard.frame.elements import PLOT, dropdown, table, verdict_word
from meterlog_dashboard.frame.view import Context

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.compare.comparison import ChannelComparison
    from meterlog.loaded import Loaded

PATH = "/compare"
TITLE = "Compare"

_MOST_OFFERED = 500
"""Sessions offered, the newest; a longer list makes the drop-down slow. A guess."""
_MOST_PASSES = 6
"""Passes of a channel that are drawn; a guess."""
_MOST_EXCURSIONS = 30
"""Excursions of a channel that are listed; a guess."""
_STEP_S = 0.05
"""One press moves the known-good by so much, s: half a reading of the fastest usual meter."""

_EMPTY = {"placeholder": "Choose a session"}


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:
    """The choice of sessions, and what comes of it; `suspect` and `good` in the query are chosen already."""
    del rest
    offered = _offered(context)
    suspect = query.get("suspect")
    good = [query["good"]] if query.get("good") else []
    return html.Div(
        [
            html.H1(TITLE),
            html.Div(
                [
                    dropdown(
                        "compare-good",
                        "Known-good (one or more; or before the repair)",
                        offered,
                        good,
                        multi=True,
                        **_EMPTY,
                    ),
                    dropdown("compare-suspect", "Suspect (or after the repair)", offered, suspect, **_EMPTY),
                ],
                className="fields",
            ),
            html.Div(
                [
                    html.Button("◀ Known-good earlier", id="nudge-earlier"),
                    html.Button("Known-good later ▶", id="nudge-later"),
                    html.Button("As found", id="nudge-none"),
                    html.Span("", id="nudge-said", role="status"),
                ],
                className="row",
            ),
            dcc.Store(id="nudge", data=0.0),
            dcc.Store(id="nudge-base", data=0),
            html.Div(id="compare-result"),
        ]
    )


def _offered(context: Context) -> list[dict[str, str]]:
    found = [s for s in context.listed.so_far()[0] if s.started_at is not None and s.readings]
    return [
        {
            "label": " · ".join(
                [s.path.stem, f"{s.started_at:%Y-%m-%d %H:%M}", s.details.get("complaint", "")]
            ).removesuffix(" · "),
            "value": s.path.name,
        }
        for s in found[:_MOST_OFFERED]
    ]


def register(app: Dash, context: Context) -> None:
    """Add its callbacks."""

    @app.callback(
        Output("nudge", "data"),
        Output("nudge-said", "children"),
        Output("nudge-base", "data"),
        Input("nudge-earlier", "n_clicks"),
        Input("nudge-later", "n_clicks"),
        Input("nudge-none", "n_clicks"),
        Input("compare-suspect", "value"),
        Input("compare-good", "value"),
        State("nudge-base", "data"),
        prevent_initial_call=True,
    )
    def nudge(earlier: int | None, later: int | None, *others: Any) -> tuple[float, str, int]:
        # From the counts of presses, which the browser keeps: the answer to the press before may still be on its way.
        presses = (later or 0) - (earlier or 0)
        base = others[-1] if ctx.triggered_id in ("nudge-earlier", "nudge-later") else presses
        nudge_s = round((presses - base) * _STEP_S, 3)
        return nudge_s, f"by hand {nudge_s:+.2f} s" if nudge_s else "", base

    @app.callback(
        Output("compare-result", "children"),
        Input("compare-good", "value"),
        Input("compare-suspect", "value"),
        Input("nudge", "data"),
    )
    def compare(good: list[str] | None, suspect: str | None, nudge_s: float) -> Any:
        if not good or not suspect:
            return html.P(
                "Choose a known-good session and a suspect one: the same circuit of the same or a similar vehicle, "
                "measured at the same point while doing the same thing."
            )
        try:
            return _result(context, good, suspect, nudge_s)
        except MeterlogError as error:
            return html.P(str(error), role="alert", className="error")


def _result(context: Context, good: Sequence[str], suspect: str, nudge_s: float) -> list[Component]:
    from meterlog.compare import compare_captures
    from meterlog.compare.comparison_text import SENTENCES

    opened = context.opened
    captures = [opened.measured(name) for name in good]
    comparison = compare_captures(captures, opened.measured(suspect), nudge_s=nudge_s)
    notes = [*(f"Not compared: {line}" for line in comparison.unpaired), *comparison.notes]
    return [
        html.Div([verdict_word(comparison.verdict), html.Div(SENTENCES[comparison.verdict])], className="panel large"),
        html.Div(
            html.A("Report", href=report_address(suspect, good), className="button main", download=""), className="row"
        ),
        *(html.P(note, className="note") for note in notes),
        *(_channel(channel, captures) for channel in comparison.channels),
    ]


def _channel(channel: ChannelComparison, good: Sequence[Loaded]) -> Component:
    from meterlog.compare.comparison_text import alignment_words, excursion_words
    from meterlog_dashboard.compare.figures import compare_figure

    name = channel.label or f"channel {channel.suspect_channel}"
    laid = [f"{Path(one.good).stem}: {alignment_words(one)}" for one in channel.alignment]
    parts: list[Component] = [
        html.H2([f"{name}, {Quantity(channel.quantity).words}: ", verdict_word(channel.verdict)]),
        html.P("; ".join(laid).replace("+-", "±"), className="soft small"),
    ]
    for number, band in enumerate(channel.bands[:_MOST_PASSES]):
        if band.part is not None:
            parts.append(html.H3(f"Pass {band.part}"))
        overlay = _overlay(channel, good) if number == 0 else []
        label = f"{name}: the suspect over the known-good, and the difference below; the table says it in words"
        figure = compare_figure(channel, band, overlay)
        parts.append(html.Div(dcc.Graph(figure=figure, config=PLOT), role="img", title=label))
    said = [html.Li(excursion_words(one, channel.unit)) for one in channel.excursions[:_MOST_EXCURSIONS]]
    if said:
        parts += [html.H3("Where it leaves the known-good by more than all errors"), html.Ul(said)]
    elif channel.bands:
        parts.append(html.P("Nowhere does it leave the known-good by more than all errors."))
    parts.append(_measures(channel))
    return html.Section([*parts, *(html.P(note, className="note") for note in channel.notes)])


def _overlay(channel: ChannelComparison, good: Sequence[Loaded]) -> list[tuple[str, Series]]:
    """The known-good readings in the suspect's time, around the first pass."""
    if len(good) < 2 or not channel.bands:
        return []
    times = channel.bands[0].time_s
    found = []
    for capture, number, one in zip(good, channel.good_channels, channel.alignment, strict=True):
        own = capture.believed(number)
        moved = replace(own, time_s=own.time_s + one.offset_s)
        if len(times) and one.error_s is not None:
            found.append((capture.path.stem, moved.between(float(times[0]), float(times[-1]))))
    return found


def _measures(channel: ChannelComparison) -> Component:
    from meterlog.compare.comparison_text import measure_words

    rows = []
    for measure in channel.measures:
        name, good, suspect, difference, _ = (words.replace("+-", "±") for words in measure_words(measure))
        verdict: list[Component | str] = [verdict_word(measure.verdict), f" {measure.note}" if measure.note else ""]
        cells = [html.Td(words) for words in (good, suspect, difference)]
        rows.append(html.Tr([html.Th(name, scope="row"), *cells, html.Td(verdict, className="words")]))
    return table(("measure", "known-good", "suspect", "difference", "verdict"), rows, f"Measures of {channel.label}")
