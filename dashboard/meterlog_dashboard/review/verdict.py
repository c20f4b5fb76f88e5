"""Says first what was found: the verdicts in a line, then the findings, each one press from its place in the curve."""

from __future__ import annotations

from typing import TYPE_CHECKING

from dash import html
from dash.development.base_component import Component

from meterlog.findings.finding import Finding, Verdict
from meterlog.kinds import KINDS
from meterlog.text.figures import count
from meterlog_dashboard.frame.elements import attributes, verdict_word
from meterlog_dashboard.review.places import Place, places

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

_WORST_FIRST: tuple[Verdict, ...] = ("outside", "cannot tell", "within")
_SHOWN_AT_ONCE = 3
"""So many findings are open at once; the rest, and what is within, unfold. By eye, at a laptop's height."""


def verdict(session: Loaded) -> Component:
    """The findings, the worst first."""
    analysis = session.analysis
    found = sorted(analysis.findings, key=lambda finding: _WORST_FIRST.index(finding.verdict))
    if not found:
        return html.Div(
            [html.P("Nothing was found, and nothing could be judged.", className="headline"), _judged(session)]
        )
    bad = [finding for finding in found if finding.verdict != "within"]
    at_once = bad[:_SHOWN_AT_ONCE] or found[:1]
    rest = [finding for finding in found if finding not in at_once]
    parts: list[Component] = [
        _headline(found),
        html.Ul([_entry(session, one) for one in at_once], className="findings"),
    ]
    if rest:
        listed = html.Ul([_entry(session, one) for one in rest], className="findings")
        parts.append(html.Details([html.Summary(f"{count(len(rest), 'more finding')}"), listed]))
    return html.Div([*parts, _judged(session)])


def _headline(found: list[Finding]) -> Component:
    counted: list[Component | str] = []
    for name in _WORST_FIRST:
        if number := sum(finding.verdict == name for finding in found):
            counted += [verdict_word(name), f" {number} "]
    return html.P(counted, className="headline")


def _judged(session: Loaded) -> Component:
    limits = session.analysis.limits
    assumed = f" ({limits.assumed})" if limits.assumed else ""
    return html.P(f"Judged by the limits '{limits.name}'{assumed}.", className="soft small")


def _entry(session: Loaded, finding: Finding) -> Component:
    said = finding.text.replace("+-", "±")
    source, limit = f"Source: {finding.source}", f"Limit: {finding.limit}".replace("+-", "±")
    why = [html.P(limit) if finding.limit else None, html.P(source) if finding.source else None]
    where = places(finding, session.analysis.events)
    buttons = [_button(session, place) for place in where]
    return html.Li(
        [
            html.P([verdict_word(finding.verdict), f" {said}"]),
            html.Div([html.Span("Show:", className="soft"), *buttons], className="row places") if buttons else None,
            html.Details([html.Summary("Limit and source"), *why], className="small") if any(why) else None,
        ],
        className=f"finding {finding.verdict.split()[0]}",
    )


def _button(session: Loaded, place: Place) -> Component:
    if place.event is None:
        said = f"Show {place.start_s:.1f} s in the curve"
        return html.Button(
            f"{place.start_s:.1f} s", title=said, **attributes(data_start=place.start_s, data_end=place.end_s)
        )
    kind = KINDS[session.analysis.events[place.event - 1].kind].words
    return html.Button(
        f"{kind} {place.event}", title=f"Show event {place.event} in the curve", **attributes(data_event=place.event)
    )
