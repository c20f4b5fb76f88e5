"""Events of one kind, out of many sessions, laid over each other at their beginning: 'all eleven dropouts'."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape as html_escape
from itertools import accumulate
from typing import NamedTuple
from urllib.parse import urlencode

from dash import dcc, html
from dash.development.base_component import Component

from meterlog.drawing.palette import BLUE, GREY, GRID
from meterlog.drawing.primitives import Figure, layout, line, moment
from meterlog.errors import MeterlogError
from meterlog.events.event import Event
from meterlog.kinds import KINDS
from meterlog.loaded import Loaded
from meterlog.session.summary import Summary, holding, of_vehicle
from meterlog.signal.reduce import reduce_series
from meterlog.text.figures import count, displayed, seconds, shown
from meterlog_dashboard.frame.addresses import session_address
from meterlog_dashboard.frame.elements import PLOT, attributes, table
from meterlog_dashboard.frame.view import Context
from meterlog_dashboard.vehicle.address import Shown

_MOST_SESSIONS, _MOST_EVENTS, _POINTS = 20, 100, 300
"""Sessions looked through, the newest; events laid over each other; points of each. Guesses: the page waits."""
_MOST_OF_A_VEHICLE, _MOST_READINGS = 100, 5_000_000
"""The same where only sessions with the kind are read, as of a measured vehicle; readings of all of them. Guesses."""
_LEAST_ROOM_S, _ROOM_SHARE = 1.0, 0.5
"""Shown before and after the longest of them: so much at the least, s, and this share of it. By eye."""
_HEIGHT_PX = 420


class Asked(NamedTuple):
    """Holds what an address asks for: a kind of event, words that the sessions hold, the vehicle that they are of."""

    kind: str
    words: str
    vehicle: str


class Found(NamedTuple):
    """An event and where it is from."""

    name: str
    session: Loaded
    number: int
    event: Event


def overlay_page(context: Context, query: Mapping[str, str]) -> Component:
    """The form and what it found; `kind`, `words` and `vehicle` as the address says."""
    asked = Asked(*(query.get(name, "") for name in Asked._fields))
    kind = asked.kind or "dropout"
    found, looked = _find(context, asked._replace(kind=kind)) if kind in KINDS else ([], 0)
    of_it = html.P(["Of ", dcc.Link(asked.vehicle, href=Shown(asked.vehicle).address), " alone."])
    parts: list[Component] = [html.H1("Events laid over each other"), *([of_it] if asked.vehicle else [])]
    parts.append(_form(asked._replace(kind=kind)))
    named = KINDS[kind].words if kind in KINDS else kind
    sessions = len({one.name for one in found})
    said = f"{count(len(found), named)} in {count(sessions, 'session')}" if found else f"No {named}"
    parts.append(html.P(f"{said}, of {count(looked, 'session')} looked through.", role="status"))
    for unit in dict.fromkeys(_unit(one) for one in found):
        alike = [one for one in found if _unit(one) == unit][:_MOST_EVENTS]
        label = f"{count(len(alike), named)} from their beginning on, in {unit}; the table says them in words"
        figure = overlay_figure(alike, unit)
        parts.append(html.Div(dcc.Graph(figure=figure, config=PLOT), role="img", **attributes(aria_label=label)))
        parts.append(_table(alike))
    return html.Div(parts)


def overlay_figure(found: list[Found], unit: str) -> Figure:
    """Each event's readings from a little before it, 0 s where it begins; in one ink, so that what is usual shows."""
    longest_s = max(one.event.end_s - one.event.start_s for one in found)
    room_s = max(_LEAST_ROOM_S, _ROOM_SHARE * longest_s)
    span = (-room_s, longest_s + room_s)
    traces = []
    for one in found:
        series = one.session.series(one.event.channel)
        part = series.between(one.event.start_s + span[0], one.event.start_s + span[1])
        drawn = reduce_series(part, _POINTS)
        hover = f"{html_escape(one.name)}, event {one.number}: %{{y:.4~g}} {unit}<extra></extra>"
        ink = {"line": {"color": BLUE, "width": 1.2, "shape": "hv"}}
        traces.append(line(drawn.time_s - one.event.start_s, drawn.value, one.name, BLUE, hovertemplate=hover, **ink))
    made = layout(_HEIGHT_PX, dragmode=False, shapes=[moment(0.0, "paper", GREY, "dash")])
    plain = {"gridcolor": GRID, "zeroline": False, "fixedrange": True, "automargin": True}
    made["xaxis"] = {"range": list(span), "title": {"text": "s from the event's beginning"}, **plain}
    made["yaxis"] = {"title": {"text": unit}, "rangemode": "tozero", **plain}
    return {"data": traces, "layout": made}


def _find(context: Context, asked: Asked) -> tuple[list[Found], int]:
    """The events of a kind in the newest sessions that are asked for, and how many sessions were looked through."""
    listed = [one for one in _asked_for(context.listed.so_far()[0], asked) if one.readings]
    known, _ = context.measured.so_far(listed if asked.vehicle else [])
    without = {path for path, measures in known.items() if not measures.kinds[asked.kind]}
    most = _MOST_OF_A_VEHICLE if asked.vehicle else _MOST_SESSIONS
    listed = [one for one in listed if one.path not in without][:most]
    before = accumulate((one.readings for one in listed), initial=0)
    listed = [one for one, readings in zip(listed, before, strict=False) if readings < _MOST_READINGS]
    found = []
    for summary in listed:
        try:
            session = context.opened.loaded(summary.path.name)
            events = session.analysis.events
        except MeterlogError:  # the list of sessions says what is wrong with it
            continue
        found += [Found(summary.path.name, session, n, e) for n, e in enumerate(events, 1) if e.kind == asked.kind]
    return found, len(without) + len(listed)


def _asked_for(summaries: Sequence[Summary], asked: Asked) -> Sequence[Summary]:
    found = holding(summaries, asked.words.split())
    return of_vehicle(found, asked.vehicle) if asked.vehicle.strip() else found


def _unit(one: Found) -> str:
    return next(c.quantity.unit for c in one.session.channels if c.number == one.event.channel)


def _form(asked: Asked) -> Component:
    """The kinds as links, which an address says, and the words of sessions as a search that the browser sends."""
    kinds = [
        dcc.Link(
            known.words,
            href=f"/compare/events?{urlencode(asked._replace(kind=name)._asdict())}",
            className="button main" if name == asked.kind else "button",
            title=f"{known.words}, chosen" if name == asked.kind else known.words,
        )
        for name, known in KINDS.items()
    ]
    search = html.Form(
        [
            html.Label("Only sessions with these words", htmlFor="overlay-words"),
            dcc.Input(id="overlay-words", name="words", value=asked.words, type="search", autoComplete="off"),
            dcc.Input(name="kind", value=asked.kind, type="hidden"),
            dcc.Input(name="vehicle", value=asked.vehicle, type="hidden"),
        ],
        method="get",
        action="/compare/events",
    )
    return html.Div([html.Nav(kinds, className="row", **attributes(aria_label="Kind of event")), search])


def _table(found: list[Found]) -> Component:
    rows = []
    for one in found:
        channel = next(c for c in one.session.channels if c.number == one.event.channel)
        lasting = (
            shown(one.event.duration_s, "s", one.event.duration_error_s) if one.event.duration_s is not None else ""
        )
        extreme = "" if one.event.extreme is None else displayed(one.event.extreme, channel.quantity.unit)
        address = session_address(one.name, event=one.number)
        room_s = max(_LEAST_ROOM_S, one.event.end_s - one.event.start_s)
        address += f"&from={one.event.start_s - room_s:.3f}&to={one.event.end_s + room_s:.3f}"
        link = dcc.Link(f"{one.name.removesuffix('.sqlite')}, event {one.number}", href=address)
        cells = (channel.name, seconds(one.event.start_s), lasting.replace("+-", "±"), extreme)
        rows.append(html.Tr([html.Td(link), *(html.Td(text) for text in cells)]))
    return table(("show", "channel", "after", "lasting", "extreme"), rows, "The events that are laid over each other")
