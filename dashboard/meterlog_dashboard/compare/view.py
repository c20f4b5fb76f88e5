"""Known-good against suspect, or before against after: laid over each other, the difference, the measures, verdicts."""

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
from meterlog.sides import BEFORE_AFTER, KNOWN_GOOD, Sides
from meterlog_dashboard.downloads.links import report_address
from meterlog_dashboard.frame.elements import PLOT, dropdown, table, verdict_word
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.session_files.folder import job_of

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.comparing.comparison import ChannelComparison, Comparison
    from meterlog.loaded import Loaded

PATH = "/compare"
TITLE = "Compare"

_MOST_OFFERED = 500
"""Sessions offered, the newest; a longer list makes the drop-down slow. A guess."""
_MOST_PASSES = 6
"""Passes of a channel that are drawn; a guess."""
_STEP_S = 0.05
"""One press moves the known-good by so much, s: half a reading of the fastest usual meter."""

_EMPTY = {"placeholder": "Choose a session"}

_SIDES = {sides.reference_key: sides for sides in (KNOWN_GOOD, BEFORE_AFTER)}
_ASKED = {
    "good": "Choose a known-good session and a suspect one: the same circuit of the same or a similar vehicle, "
    "measured at the same point while doing the same thing.",
    "before": "Choose a session from before the repair and one from after it: the same circuit of the same vehicle, "
    "measured at the same point while doing the same thing.",
}
"""Says what is asked for while a side is empty."""


def layout(context: Context, rest: str, query: Mapping[str, str]) -> Component:
    """The choice of sessions, and what comes of it; those that the query names under a side are chosen already."""
    if rest == "events":
        from meterlog_dashboard.compare.overlay import overlay_page

        return overlay_page(context, query)
    sides = _SIDES["before" if "before" in query or "after" in query else "good"]
    chosen = [[query[key]] if query.get(key) else [] for key in (sides.reference_key, sides.other_key)]
    offered = _offered(context, *chosen)
    choices = [{"label": f"{_capital(one.reference)} and {one.other}", "value": key} for key, one in _SIDES.items()]
    return html.Div(
        [
            html.H1(TITLE),
            html.P(dcc.Link("Lay events of many sessions over each other", href="/compare/events?kind=dropout")),
            html.Div(
                dcc.RadioItems(choices, sides.reference_key, id="compare-sides", className="chips"), className="row"
            ),
            html.Div(
                [
                    html.Div(
                        dropdown(id_, f"{_capital(name)} (one or more)", offered, value, multi=True, **_EMPTY),
                        className=f"side {id_.removeprefix('compare-')}",
                    )
                    for id_, name, value in zip(
                        ("compare-good", "compare-suspect"), (sides.reference, sides.other), chosen, strict=True
                    )
                ],
                className="fields sides",
            ),
            html.Div(
                [
                    html.Button(_nudge_words(sides)[0], id="nudge-earlier"),
                    html.Button(_nudge_words(sides)[1], id="nudge-later"),
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


def _capital(words: str) -> str:
    return words[0].upper() + words[1:]


def _nudge_words(sides: Sides) -> tuple[str, str]:
    return f"◀ {_capital(sides.reference)} earlier", f"{_capital(sides.reference)} later ▶"


def _offered(context: Context, *chosen: Sequence[str]) -> list[dict[str, str]]:
    """The sessions of the folder, the newest first, and before them what is chosen from a job's folder."""
    of_jobs = [{"label": name, "value": name} for names in chosen for name in names if job_of(name)]
    found = [s for s in context.listed.so_far()[0] if s.started_at is not None and s.readings]
    return of_jobs + [
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
        Output("compare-good-label", "children"),
        Output("compare-suspect-label", "children"),
        Output("nudge-earlier", "children"),
        Output("nudge-later", "children"),
        Input("compare-sides", "value"),
        prevent_initial_call=True,
    )
    def name_sides(key: str) -> tuple[str, ...]:
        sides = _SIDES[key]
        labels = (f"{_capital(name)} (one or more)" for name in (sides.reference, sides.other))
        return (*labels, *_nudge_words(sides))

    @app.callback(
        Output("compare-result", "children"),
        Input("compare-good", "value"),
        Input("compare-suspect", "value"),
        Input("nudge", "data"),
        Input("compare-sides", "value"),
    )
    def compare(good: list[str] | None, suspects: list[str] | None, nudge_s: float, key: str) -> Any:
        if not good or not suspects:
            return html.P(_ASKED[key])
        both = sorted({*good} & {*suspects})
        if both:
            return html.P(_itself(both, _SIDES[key]), role="alert", className="note")
        try:
            return _result(context, good, suspects, nudge_s, _SIDES[key])
        except MeterlogError as error:
            return html.P(context.said(error), role="alert", className="error")


def _itself(names: Sequence[str], sides: Sides) -> str:
    """Say that a session would be compared with itself, which proves nothing: it is always the same."""
    named = ", ".join(Path(name).stem for name in names)
    return (
        f"{named} stands on both sides. A session compared with itself is always the same and proves nothing: "
        f"take it away as {sides.reference} or as {sides.other}."
    )


def _result(
    context: Context, good: Sequence[str], suspects: Sequence[str], nudge_s: float, sides: Sides
) -> list[Component]:
    from meterlog.comparing import compare_captures
    from meterlog.comparing.comparison_text import headline

    captures, others = ([context.opened.measured(name) for name in names] for names in (good, suspects))
    comparison = compare_captures(captures, *others, nudge_s=nudge_s, sides=sides)
    unpaired = [line for line in comparison.unpaired if line not in comparison.deciding]
    notes = [*(f"Not compared: {line}" for line in unpaired), *comparison.notes]
    report = report_address(suspects, sides.reference_key, good)
    return [
        html.Div([verdict_word(comparison.verdict), html.Div(headline(comparison))], className="panel large"),
        html.Div(html.A("Report", href=report, className="button main", download=""), className="row"),
        *(html.P(note, className="note") for note in notes),
        *(_channel(channel, comparison, captures) for channel in comparison.channels),
    ]


def _channel(channel: ChannelComparison, comparison: Comparison, good: Sequence[Loaded]) -> Component:
    from meterlog.comparing.comparison_text import alignment_words, channel_name, excursions_words
    from meterlog_dashboard.compare.figures import compare_figure

    sides, name = comparison.sides, channel_name(channel, comparison)
    laid = [f"{Path(one.good).stem}: {alignment_words(one, sides)}" for one in channel.alignment]
    parts: list[Component] = [
        html.H2([f"{name}, {Quantity(channel.quantity).words}: ", verdict_word(channel.verdict)]),
        html.P("; ".join(laid).replace("+-", "±"), className="soft small"),
    ]
    for number, band in enumerate(channel.bands[:_MOST_PASSES]):
        if band.part is not None:
            parts.append(html.H3(f"Pass {band.part}"))
        overlay = _overlay(channel, good) if number == 0 else []
        label = (
            f"{name}: {sides.the_other} over {sides.the_reference}, the difference below; the table says it in words"
        )
        figure = compare_figure(channel, band, overlay, sides)
        parts.append(html.Div(dcc.Graph(figure=figure, config=PLOT), role="img", title=label))
    said = [html.Li(words) for words in excursions_words(channel, sides)]
    if said:
        parts += [html.H3(f"Where it leaves {sides.the_reference} by more than all errors"), html.Ul(said)]
    elif channel.bands:
        parts.append(html.P(f"Nowhere does it leave {sides.the_reference} by more than all errors."))
    parts.append(_measures(channel, sides))
    return html.Section([*parts, *(html.P(note, className="note") for note in channel.notes)])


def _overlay(channel: ChannelComparison, good: Sequence[Loaded]) -> list[tuple[str, Series]]:
    """The known-good readings in the suspect's time, around the first pass, where there are several."""
    if len(channel.alignment) < 2 or not channel.bands:
        return []
    times, captures = channel.bands[0].time_s, {str(capture.path): capture for capture in good}
    found = []
    for number, one in zip(channel.good_channels, channel.alignment, strict=True):
        capture = captures[one.good]
        own = capture.believed(number)
        moved = replace(own, time_s=own.time_s + one.offset_s)
        if len(times) and one.error_s is not None:
            found.append((capture.path.stem, moved.between(float(times[0]), float(times[-1]))))
    return found


def _measures(channel: ChannelComparison, sides: Sides) -> Component:
    from meterlog.comparing.comparison_text import measure_words

    rows = []
    for measure in channel.measures:
        name, good, suspect, difference, _ = (words.replace("+-", "±") for words in measure_words(measure))
        verdict: list[Component | str] = [verdict_word(measure.verdict), f" {measure.note}" if measure.note else ""]
        cells = [html.Td(words) for words in (good, suspect, difference)]
        rows.append(html.Tr([html.Th(name, scope="row"), *cells, html.Td(verdict, className="words")]))
    headings = ("measure", sides.reference, sides.other, "difference", "verdict")
    return table(headings, rows, f"Measures of {channel.label}")
