"""The buttons with which the curves of Review are moved, and what keys and gestures do the same."""

from __future__ import annotations

from dash import html
from dash.development.base_component import Component

from meterlog_dashboard.frame.elements import attributes

_MOVES = (
    ("earlier", "◀", "Earlier"),
    ("later", "▶", "Later"),
    ("closer", "+", "Closer"),
    ("wider", "−", "Wider"),
    ("all", "All", "All of the session"),
)
_EVENTS = (("event-previous", "◀ Event", "Previous event, key p"), ("event-next", "Event ▶", "Next event, key n"))
_SWITCHES = (
    ("switch-fitted", "Fit the height", "Fit the scales to what is shown, key f"),
    ("switch-times", "From the start", "Times from the start instead of the time of day, key t"),
    ("switch-cursors", "Measure", "Two cursors that measure between them, key m"),
)
_KEYS = (
    ("◀ ▶", "earlier, later"),
    ("+ −", "closer, wider"),
    ("0", "all of it"),
    ("n p", "next, previous event"),
    ("f", "scales fitted to what is shown, or fixed"),
    ("t", "time of day, or from the start"),
    ("m", "cursors that measure; ◀ ▶ move the one that has the focus"),
)
_GESTURES = (
    ("drag", "moves the curves"),
    ("wheel, or two fingers", "closer and wider where the pointer is"),
    ("double click", "all of it, and back again"),
    ("Shift and drag", "shows the stretch that was drawn"),
)


def controls() -> list[Component]:
    """The buttons; those that move stay in sight."""
    moves = [
        html.Button(sign, id=f"move-{move}", title=words, **attributes(aria_label=words))
        for move, sign, words in _MOVES
    ]
    events = [html.Button(sign, id=id_, title=words) for id_, sign, words in _EVENTS]
    switches = [
        html.Button(words, id=id_, title=title, className="switch", **attributes(aria_pressed="false"))
        for id_, words, title in _SWITCHES
    ]
    said = [html.Div([html.Dt(key), html.Dd(words)]) for key, words in (*_KEYS, *_GESTURES)]
    return [
        html.Div([*moves, *events], className="row sticky"),
        html.Div(switches, className="row switches"),
        html.Details([html.Summary("Keys and gestures"), html.Dl(said, className="keys")], className="small"),
    ]
