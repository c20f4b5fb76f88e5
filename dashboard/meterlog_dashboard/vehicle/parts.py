"""The parts of a vehicle's history: what has changed, one measure over its sessions, its events."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.kinds import KINDS
from meterlog.text.figures import count, shown
from meterlog.trends import History, Point, Trend, Verdict
from meterlog.trends.words import NO_FAULT_YET, day, sentence
from meterlog_dashboard.frame.addresses import session_address
from meterlog_dashboard.frame.elements import PLOT, attributes, table
from meterlog_dashboard.vehicle.address import Shown, events_address
from meterlog_dashboard.vehicle.figures import at_20_c, trend_figure

_MOST_ROWS = 200
"""Sessions of a measure that its table names, the newest; a guess."""
_STYLES = {Verdict.CHANGED: "outside", Verdict.CANNOT_TELL: "cannot", Verdict.NO_CHANGE: ""}


def what_changed(trends: Sequence[Trend], chosen: Trend) -> Component:
    """Every measure with its verdict, each a press from its plot: what has changed first, the rest folded."""
    parts: list[Component] = [html.H2("What has changed")]
    for verdict in Verdict:
        if some := [_entry(trend, trend is chosen) for trend in trends if trend.verdict is verdict]:
            listed = html.Ul(some, className="findings")
            folded = html.Details(
                [html.Summary(f"{count(len(some), 'measure')}: {verdict}"), listed], open=chosen.verdict is verdict
            )
            parts.append(listed if verdict is Verdict.CHANGED else folded)
        elif verdict is Verdict.CHANGED:
            parts.append(html.P("Nothing that can be told from chance."))
    last = NO_FAULT_YET if trends[0].verdict is Verdict.CHANGED else _NO_PROOF
    return html.Section([*parts, html.P(last, className="soft small")])


_NO_PROOF = "No change is no proof of health: what was bad from the first session on does not change."


def over_sessions(trend: Trend) -> Component:
    """One measure: its sentence, its plot, and both in words."""
    history = trend.history
    label = f"{name_of(history)} of {count(len(history.points), 'session')} in time; the table below says the same"
    return html.Section(
        [
            html.H2(name_of(history)),
            html.P(said(trend), className="headline"),
            html.Div(dcc.Graph(figure=trend_figure(trend), config=PLOT), role="img", **attributes(aria_label=label)),
            html.P(_explained(trend), className="soft small"),
            _table(trend),
        ]
    )


def events(vehicle: str, kinds: Counter[str]) -> Component:
    """List what happened on it, each kind a press from all of them laid over each other."""
    links = [
        dcc.Link(count(number, KINDS[kind].words), href=events_address(vehicle, kind), className="button")
        for kind, number in kinds.most_common()
    ]
    empty = html.P("No events in its sessions.")
    return html.Section(
        [html.H2("Its events, laid over each other"), html.Div(links, className="row") if links else empty]
    )


def name_of(history: History) -> str:
    """Return what a measure is called: of which channel, and which."""
    return f"{history.label}, {history.measure}"


def said(trend: Trend) -> str:
    """Return the sentence that `meterlog trends` says too."""
    return sentence(trend).replace("+-", "±")


def _entry(trend: Trend, chosen: bool) -> Component:
    history = trend.history
    address = Shown(history.vehicle, history.label, history.measure).address
    name = html.Strong(name_of(history)) if chosen else dcc.Link(name_of(history), href=address)
    current = attributes(aria_current="true") if chosen else {}
    style = f"finding {_STYLES[trend.verdict]}".strip()
    return html.Li(html.P([name, f": {said(trend)}"]), className=style, **current)


def _explained(trend: Trend) -> str:
    """Say what is drawn, what the level was and is, and what the temperature has to do with it."""
    change, unit = trend.change, trend.history.unit
    words = ["Each dot is a session, with its error."]
    if trend.verdict is Verdict.CHANGED and change is not None:
        before, after = (shown(float(change.fitted[at]), unit) for at in (0, -1))
        words.append(
            f"The line is the level: {before} on {day(trend.days.time_s[0]):%d %B %Y}, {after} on"
            f" {day(trend.days.time_s[-1]):%d %B %Y}. It began within the shaded time, 95 times in 100."
        )
    if trend.days.temperature_c is None:
        words.append("It is not corrected for temperature (detail temperature_c: on too few days).")
    elif change is not None and change.per_degree is not None:
        does = "raises" if change.per_degree > 0 else "lowers"
        words.append(
            f"All is at 20 °C: each degree {does} it by {shown(abs(change.per_degree), unit)}, which is taken out."
        )
        if any(point.temperature_c is None for point in trend.history.points):
            words.append("Hollow dots have no temperature and do not count.")
    return " ".join(words)


def _table(trend: Trend) -> Component:
    points = trend.history.points[::-1]
    headings = ("session", "when", trend.history.measure, "temperature", "counts as")
    rows = [_row(trend, point) for point in points[:_MOST_ROWS]]
    more = f", the newest {_MOST_ROWS}" if len(points) > _MOST_ROWS else ""
    listed = table(headings, rows, f"{name_of(trend.history)}, session by session")
    return html.Details([html.Summary(f"Its sessions in figures ({len(points)}{more})"), listed])


def _row(trend: Trend, point: Point) -> Component:
    unit, counts = trend.history.unit, at_20_c(trend, point)
    cells = (
        f"{point.started_at:%Y-%m-%d %H:%M}",
        shown(point.value, unit, point.error).replace("+-", "±"),
        "" if point.temperature_c is None else f"{point.temperature_c:g} °C",
        "nothing: no temperature" if counts is None else shown(counts, unit, point.error).replace("+-", "±"),
    )
    link = dcc.Link(point.session.removesuffix(".sqlite"), href=session_address(point.session))
    return html.Tr([html.Th(link, scope="row"), *(html.Td(cell) for cell in cells)])
