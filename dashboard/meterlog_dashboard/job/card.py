"""The next step of a job as one card: what to look at, to measure or to put right, and what to mind."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from dash import html
from dash.development.base_component import Component

from meterlog.circuit.readings.measurement import QUANTITY
from meterlog_dashboard.frame.elements import attributes
from meterlog_dashboard.job.probe_picture import probe_picture
from meterlog_dashboard.job.start import sentence

if TYPE_CHECKING:
    from meterlog.job.next_step import Next
    from meterlog.job.status import Status

_TITLES = {
    "look": "Look",
    "measure": "Measure",
    "try": "Try",
    "repair": "Put right",
    "prove": "Prove it: measure again",
    "done": "Done",
}
_HOW = ("unplug", "dial", "red", "black", "key")
_WORDS = {"unplug": "First"}


def card(status: Status) -> list[Component]:
    """The card; its `data-quantity` is what the meter is set to, for the cautions."""
    following = status.next
    minutes = f", about {following.minutes:.0f} min" if following.minutes is not None else ""
    m = following.measurement
    about = attributes(data_quantity=QUANTITY.get(m.quantity, ""), data_kind=following.kind) if m else {}
    return [
        html.Section(
            [html.H2(f"{_TITLES[following.kind]}{minutes}"), *_what(status, following), *_mind(following)],
            className=f"job-card {following.kind}",
            id="job-card",
            **about,
        )
    ]


def _what(status: Status, following: Next) -> Sequence[Component | None]:
    m = following.measurement
    outcomes = [html.Li([html.Strong(f"{seen}: "), sentence(then)]) for seen, then in following.outcomes]
    meaning = html.Details([html.Summary("What it would mean"), html.Ul(outcomes)]) if outcomes else None
    if m is None or status.case is None:
        return [html.P(_plain(following.text), className="next"), meaning]
    place = sentence(f"{m.quantity} {m.place}")
    rows = [(key, following.how.get(key, "")) for key in _HOW]
    leads = [
        html.Div([html.Dt(_WORDS.get(key, key)), html.Dd(words)], className=f"how {key}")
        for key, words in rows
        if words
    ]
    picture = probe_picture(status.case.circuit, m)
    drawn = f"Red {following.how.get('red', '')}; black {following.how.get('black', '')}."
    return [
        html.P(place, className="next"),
        html.P(following.again) if following.again else None,
        html.Dl(leads, className="leads"),
        html.Img(src=picture, alt=drawn, className="probes") if picture else None,
        meaning,
    ]


def _mind(following: Next) -> list[Component]:
    """The most dangerous caution in full view, the others one press away."""
    if not following.cautions:
        return []
    first, *others = following.cautions
    more = [html.Details([html.Summary(f"{len(others)} more to mind"), html.Ul([html.Li(t) for t in others])])]
    return [html.Div([html.P([html.Strong("⚠ "), first]), *(more if others else [])], className="caution")]


def _plain(text: str) -> str:
    """The text without the commands of the terminal: the page has buttons for them."""
    kept = [part for part in text.split(". ") if "'job " not in part]
    words = sentence(". ".join(kept) or text.partition("'job ")[0]).rstrip(" .:")
    return words if words.endswith("?") else f"{words}."
