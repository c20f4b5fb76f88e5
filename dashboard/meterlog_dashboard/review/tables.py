"""The tables and lists of Review: statistics of the stretch that is shown, findings, events."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from dash import html
from dash.development.base_component import Component

from meterlog.events.event import Event
from meterlog.findings.level import resolution_of
from meterlog.kinds import KINDS
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval
from meterlog.signal.statistics import statistics
from meterlog.signal.statistics_text import HEADINGS, left_out, statistics_words
from meterlog.text.figures import count, displayed, seconds, shown
from meterlog_dashboard.frame.elements import attributes, table
from meterlog_dashboard.review.clock import Clock

if TYPE_CHECKING:  # it imports much, and the page is to be there at once
    from meterlog.loaded import Loaded

EVENTS_A_PAGE = 50
"""Rows of the event table; more make the page slow on a phone. A guess."""


def statistics_table(session: Loaded, span: tuple[float, float]) -> Component:
    """The figures of the stretch that is shown."""
    inside = max(span[0], 0.0), min(span[1], session.duration_s)
    rows = []
    for channel in session.channels:
        kept = session.believed(channel.number)
        part = kept.between(*inside)
        found = statistics(part)
        interval_s = reading_interval(part.time_s).interval_s
        doubtful = len(session.series(channel.number).between(*inside)) - len(part)
        cells = [f"{found.readings:,}", *statistics_words(found, channel.quantity.unit, resolution_of(kept))]
        cells += [left_out(found, doubtful) or "none", "–" if math.isnan(interval_s) else seconds(interval_s)]
        rows.append(html.Tr([html.Th(channel.name, scope="row"), *(html.Td(cell) for cell in cells)]))
    headings = ("channel", "readings", *HEADINGS, "left out", "a reading every")
    words = html.P(f"{seconds(max(0.0, inside[1] - inside[0]))}, from {inside[0]:.2f} to {inside[1]:.2f} s")
    return html.Div([words, table(headings, rows, "Statistics of the stretch that is shown")])


def event_sentence(session: Loaded, number: int) -> str:
    """An event in one line."""
    events = session.analysis.events
    event = events[number - 1]
    said = event.detail.replace("+-", "±") or KINDS[event.kind].words
    return f"Event {number} of {len(events)}: {said}"


def event_table(session: Loaded, clock: Clock, chosen: int | None, page: int) -> Component:
    """A page of the events, from 0, and the way to the others."""
    events = session.analysis.events
    if not events:
        return html.Div([html.P("No events."), *_unseen(session)])
    first = page * EVENTS_A_PAGE
    numbered = list(enumerate(events, 1))[first : first + EVENTS_A_PAGE]
    names = {channel.number: channel for channel in session.channels}
    counts = {number: resolution_of(session.series(number)) for number in {event.channel for _, event in numbered}}
    rows = [
        _event_row(number, event, names[event.channel], counts[event.channel], clock, number == chosen)
        for number, event in numbered
    ]
    headings = ("show", "what", "channel", "at", "lasting", "extreme", "in words")
    return html.Div([*_pager(len(events), first), table(headings, rows, "Events"), *_unseen(session)])


def _pager(events: int, first: int) -> list[Component]:
    if events <= EVENTS_A_PAGE:
        return [html.P(count(events, "event"))]
    last = min(first + EVENTS_A_PAGE, events)
    before = attributes(data_page=max(0, first - EVENTS_A_PAGE))
    after = attributes(data_page=first + EVENTS_A_PAGE)
    buttons = [
        html.Button("◀ Earlier ones", disabled=first == 0, **before),
        html.Button("Later ones ▶", disabled=last >= events, **after),
    ]
    return [html.P(f"Events {first + 1} to {last} of {events}"), html.Div(buttons, className="row")]


def _event_row(number: int, event: Event, channel: Channel, resolution: float, clock: Clock, chosen: bool) -> Component:
    lasting = "" if event.duration_s is None else shown(event.duration_s, "s", event.duration_error_s)
    extreme = "" if event.extreme is None else _value(event.extreme, channel.quantity.unit, resolution)
    button = html.Button(str(number), title=f"Show event {number}", **attributes(data_event=number))
    at = f"{clock.words(event.start_s)} ({event.start_s:.2f} s)"
    lasting, said = lasting.replace("+-", "±"), event.detail.replace("+-", "±")
    cells = (KINDS[event.kind].words, channel.name, at, lasting, extreme, said)
    current = attributes(aria_current="true") if chosen else {}
    return html.Tr(
        [html.Td(button), *(html.Td(cell) for cell in cells[:-1]), html.Td(cells[-1], className="words")],
        className="chosen" if chosen else "",
        **current,
    )


def _value(value: float, unit: str, resolution: float) -> str:
    return displayed(value, unit, resolution)


def _unseen(session: Loaded) -> list[Component]:
    """The shortest events that these readings could have shown."""
    sentences = []
    for summary in session.analysis.channels:
        shortest_s = summary.watch.shortest_visible_s
        if shortest_s == shortest_s:
            sentences.append(f"{summary.channel.name} {seconds(shortest_s)}")
    if not sentences:
        return []
    return [html.P(f"Events shorter than this may not show: {', '.join(sentences)}.", className="soft small")]
