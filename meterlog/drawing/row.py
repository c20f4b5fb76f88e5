"""Draws a channel over time: its readings, and over them gaps, overload, limits, events and markers."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meterlog.drawing.palette import BLUE, GREY, PURPLE, VERMILION, kind_colour, outline
from meterlog.drawing.primitives import DOTS_UP_TO, band, level, line, moment, word
from meterlog.drawing.scale import count_of, extent, fitted_scale
from meterlog.events.event import Event
from meterlog.findings import Line
from meterlog.kinds import KINDS
from meterlog.series import Series
from meterlog.session.model import Channel, Marker
from meterlog.signal.reduce import Drawn, reduce_series
from meterlog.text.figures import prefix_of, shown

POINTS = 2000
"""As many as a wide screen has columns: more would not be seen."""

_MOST_EVENTS = 150
_MOST_NUMBERS = 30
_MOST_MARKERS = 60
_MOST_STRETCHES = 150
"""More than these would hide the readings, and slow the browser; by eye."""

_ALL_NAMED = 4
"""So few limits are all given their figure; of more, only those that hold for long; by eye."""

_CROWDED = 0.1
"""Limits nearer than this share of a row's height have their figures above and below their lines; by eye."""

_MOST_NOTES = 6
"""Limits that are told in words below a drawing; a guess, more would not be read."""

LIMIT_PX = 56
"""The width of the right margin that takes the figure of a limit, px."""

_SLACK = 1e-6
"""Resolutions come as float32: 0.01 may be a little less."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Row:
    """One channel's row of a drawing.

    Attributes:
        channel: as recorded.
        series: all its readings.
        events: (number in the session's list, event) of this channel.
        limits: what its findings were judged by.
        scale: the range of its y axis, in its unit; fitted to what is shown where None.
    """

    channel: Channel
    series: Series
    events: Sequence[tuple[int, Event]] = ()
    limits: Sequence[Line] = ()
    scale: Span | None = None

    @property
    def title(self) -> str:
        """Label, test point and what is measured."""
        name, place = self.channel.name, self.channel.place
        at = f" at {place}" if place and self.channel.point != name else ""
        return f"{name}{at}, {self.channel.quantity.words}"


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """The time that is shown, and where it lies in the figure.

    Attributes:
        span: from when to when, s from the session's start.
        place: turns s into places on the axis, shape (n,) to (n,).
        words: how the browser is to write a place.
    """

    span: Span
    place: Callable[[ArrayLike], NDArray[np.float64]]
    words: str

    def at(self, time_s: float) -> float:
        """The place of one moment."""
        return float(self.place(time_s))

    @property
    def length_s(self) -> float:
        """Return how much is shown, s."""
        return self.span[1] - self.span[0]

    def inside(self, stretches: Sequence[Span]) -> list[Span]:
        """The stretches that are to be seen, cut to what is shown."""
        cut = [(max(start, self.span[0]), min(end, self.span[1])) for start, end in stretches]
        return [(start, end) for start, end in cut if end >= start][:_MOST_STRETCHES]


@dataclass(slots=True)
class Window:
    """The parts that change with the stretch of time shown: two traces a row, heights, units, and what lies over; the
    limits in words."""

    traces: list[dict[str, Any]] = field(default_factory=list)
    heights: list[Span] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    shapes: list[dict[str, Any]] = field(default_factory=list)
    words: list[dict[str, Any]] = field(default_factory=list)
    limits: list[str] = field(default_factory=list)


def draw_row(window: Window, axis: str, row: Row, time: TimeAxis, chosen: int | None = None) -> None:
    """Draw a channel into the row of a y axis; `chosen` is the number of the event that stands out."""
    drawn = reduce_series(_with_neighbours(row.series, *time.span), POINTS)
    limits = [limit for limit in row.limits if time.inside([_stretch(limit)])]
    count = count_of(row.series)
    scale = row.scale or fitted_scale(extent(drawn.value), count, [limit.level for limit in limits])
    measure = _Measure.of(row.channel.quantity.unit, scale, count)
    mode = "lines+markers" if len(drawn.time_s) <= DOTS_UP_TO else "lines"
    hover = f"{time.words}: %{{y:{measure.places}}} {measure.unit}<extra></extra>"
    places, values = time.place(drawn.time_s), drawn.value * measure.factor
    window.traces.append(line(places, values, row.title, BLUE, mode=mode, yaxis=axis, hovertemplate=hover))
    heights = scale[0] * measure.factor, scale[1] * measure.factor
    window.heights.append(heights)
    window.units.append(measure.unit)
    _draw_stretches(window, axis, drawn, time)
    seen = [limit for limit in limits if heights[0] <= limit.level * measure.factor <= heights[1]][:_MOST_EVENTS]
    _draw_limits(window, axis, seen, time, heights, measure)
    window.limits += [f"{row.channel.name}: {note}" for note in limit_notes(seen, measure.base)]
    _draw_events(window, axis, row, time, chosen, heights)


@dataclass(frozen=True, slots=True)
class _Measure:
    """Holds what a row's figures are written in: the unit with its prefix, the factor to it, and the decimals shown."""

    base: str
    unit: str
    factor: float
    places: str

    @classmethod
    def of(cls, base: str, scale: Span, count: float) -> _Measure:
        """The handy prefix for the whole of a scale, in the unit without one; one count is in that unit too."""
        prefix, exponent = prefix_of(max(map(abs, scale)), base)
        places = f".{max(0, exponent - math.floor(math.log10(count) + _SLACK))}f" if count > 0 else ".4~g"
        return cls(base, f"{prefix}{base}", 10.0**-exponent, places)


def draw_markers(
    window: Window, markers: Sequence[Marker], time: TimeAxis, *, letters: int = 14, above_px: int = 0
) -> None:
    """Draw the markers with their names above the plot, slanted where they would run into each other on a phone."""
    inside = [marker for marker in markers if time.span[0] <= marker.time_s <= time.span[1]]
    shown = inside if len(inside) <= _MOST_MARKERS else inside[:: -(-len(inside) // _MOST_MARKERS)]
    crowded = any(after.time_s - before.time_s < 0.18 * time.length_s for before, after in pairwise(shown))
    named_until = -np.inf
    for marker in shown:
        at = time.at(marker.time_s)
        window.shapes.append(moment(at, "paper", PURPLE))
        if marker.time_s - named_until < 0.02 * time.length_s:
            continue
        named_until = marker.time_s
        name = marker.name if len(marker.name) <= letters else f"{marker.name[: letters - 1]}…"
        early, late = (
            marker.time_s < time.span[0] + 0.15 * time.length_s,
            marker.time_s > time.span[0] + 0.85 * time.length_s,
        )
        side = "left" if early else "right" if late else "center"
        slant = {"textangle": -35} if crowded else {"xanchor": side}
        window.words.append(word(at, 1.0, name, yshift=above_px, **slant))


def _with_neighbours(series: Series, start_s: float, end_s: float) -> Series:
    """The readings of a stretch and one more at each side, so that the line goes to the edges."""
    first = max(0, int(np.searchsorted(series.time_s, start_s, "left")) - 1)
    last = int(np.searchsorted(series.time_s, end_s, "right")) + 1
    return series[first:last]


def _stretch(limit: Line) -> Span:
    """From when to when a limit holds, s."""
    return (-np.inf if limit.start_s is None else limit.start_s, np.inf if limit.end_s is None else limit.end_s)


def _draw_stretches(window: Window, axis: str, drawn: Drawn, time: TimeAxis) -> None:
    """Stretches without data in grey, overload as a bar at the top, both named."""
    for start_s, end_s in time.inside(drawn.gaps):
        start, end = time.at(start_s), time.at(end_s)
        window.shapes.append(band(start, end, axis, GREY, 0.3))
        if end_s - start_s >= 0.06 * time.length_s or len(drawn.gaps) == 1:
            where = {"yref": f"{axis} domain", "xanchor": "center", "yanchor": "middle"}
            window.words.append(word((start + end) / 2, 0.5, "no data", **where))
    overload = time.inside(drawn.overload)
    for start_s, end_s in overload:
        edge = {"y0": 0.92, "line": {"width": 2, "color": PURPLE}}
        window.shapes.append(band(time.at(start_s), time.at(end_s), axis, PURPLE, 0.85, **edge))
    if overload:
        start_s, end_s = max(overload, key=lambda stretch: stretch[1] - stretch[0])
        where = {"yref": f"{axis} domain", "xanchor": "center", "yanchor": "top"}
        window.words.append(word(time.at((start_s + end_s) / 2), 0.91, "overload (OL)", **where))


def limit_notes(limits: Sequence[Line], unit: str) -> list[str]:
    """The limits in words, each once: what stands below a drawing of them."""
    return list(dict.fromkeys(f"{shown(limit.level, unit)}: {limit.words}" for limit in limits))[:_MOST_NOTES]


def _draw_limits(
    window: Window, axis: str, limits: Sequence[Line], time: TimeAxis, heights: Span, measure: _Measure
) -> None:
    """Each limit where it holds, its figure in the right margin, where it hides no reading."""
    named: dict[str, float] = {}
    for limit in limits:
        at_level = limit.level * measure.factor
        ((start_s, end_s),) = time.inside([_stretch(limit)])
        start, end = time.at(start_s), time.at(end_s)
        window.shapes.append(level(start, end, at_level, axis, VERMILION))
        if len(limits) <= _ALL_NAMED or end_s - start_s > 0.3 * time.length_s:
            named.setdefault(shown(limit.level, measure.base), at_level)
    crowded = _CROWDED * (heights[1] - heights[0])
    for text, at_level in named.items():
        below = any(0.0 < other - at_level < crowded for other in named.values())
        above = any(0.0 < at_level - other < crowded for other in named.values())
        where = {"xref": "paper", "yref": axis, "yanchor": "top" if below else "bottom" if above else "middle"}
        window.words.append(word(1.0, at_level, text, **where))


def _draw_events(window: Window, axis: str, row: Row, time: TimeAxis, chosen: int | None, heights: Span) -> None:
    """Each event as a coloured stretch with its number at the foot, which can be clicked."""
    inside = [(n, e) for n, e in row.events if e.end_s >= time.span[0] and e.start_s <= time.span[1]]
    few = inside[:: max(1, -(-len(inside) // _MOST_EVENTS))]
    few += [(n, e) for n, e in inside if n == chosen and (n, e) not in few]
    for number, event in few:
        start_s, end_s = max(event.start_s, time.span[0]), min(event.end_s, time.span[1])
        colour = kind_colour(event.kind)
        edge = {"color": outline(colour), "width": 3 if number == chosen else 1}
        opacity = 0.3 if number == chosen else 0.16
        window.shapes.append(band(time.at(start_s), time.at(end_s), axis, colour, opacity, line=edge))
    colours = [kind_colour(e.kind) for _, e in few]
    middles = [(max(e.start_s, time.span[0]) + min(e.end_s, time.span[1])) / 2 for _, e in few]
    named = len(few) <= _MOST_NUMBERS
    window.traces.append(
        {
            "type": "scatter",
            "mode": "markers+text" if named else "markers",
            "name": "events",
            "x": time.place(middles).tolist(),
            "y": [heights[0] + 0.05 * (heights[1] - heights[0])] * len(few),
            "yaxis": axis,
            "text": [str(number) for number, _ in few],
            "textposition": "top center",
            "cliponaxis": False,
            "customdata": [number for number, _ in few],
            "hovertext": [f"{number}: {KINDS[e.kind].words}" for number, e in few],
            "hoverinfo": "text",
            "marker": {
                "symbol": "triangle-up",
                "size": [17 if number == chosen else 12 for number, _ in few],
                "color": colours,
                "line": {"color": [outline(colour) for colour in colours], "width": 1.5},
            },
        }
    )
