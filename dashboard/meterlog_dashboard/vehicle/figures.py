"""The figures of a vehicle's history: its sessions in time, and one measure over them with the change in it."""

from __future__ import annotations

import html
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any, NamedTuple

import numpy as np

from meterlog.drawing.palette import BLUE, GREY, GRID, ORANGE, VERMILION
from meterlog.drawing.primitives import Figure, band, layout, line, moment, word
from meterlog.text.figures import shown
from meterlog.trends import History, Point, Trend, Verdict

_HEIGHT_PX, _STRIP_PX = 380, 130
_ROOM_SHARE = 0.04
"""Room at both ends of the time axis, of its length; by eye."""
_LEAST_ROOM_MS = 86_400_000.0
"""The same where all is of one day, ms."""


class Held(NamedTuple):
    """A session of the strip: its name, when it began, and how many of its findings are outside their limits."""

    name: str
    started_at: datetime
    outside: int


def strip_figure(sessions: Sequence[Held]) -> Figure:
    """Each session as a dot in time, those with something outside its limits in a row of their own."""
    traces = []
    for height, colour, symbol, some in (
        (0, BLUE, "circle", [one for one in sessions if not one.outside]),
        (1, VERMILION, "x", [one for one in sessions if one.outside]),
    ):
        said = [f"{html.escape(one.name)}<br>{one.started_at:%Y-%m-%d %H:%M}<extra></extra>" for one in some]
        dots = {"mode": "markers", "marker": {"color": colour, "size": 9, "symbol": symbol}, "hovertemplate": said}
        times = [_ms(one.started_at) for one in some]
        traces.append(line(times, np.full(len(some), height), "sessions", colour, **dots))
    made = layout(_STRIP_PX, dragmode=False)
    made["margin"] |= {"t": 6, "b": 30}
    made["xaxis"] = _time_axis([_ms(one.started_at) for one in sessions])
    made["yaxis"] = {"tickvals": [0, 1], "ticktext": ["others", "outside"], "range": [-0.6, 1.6], **_plain()}
    return {"data": traces, "layout": made}


def trend_figure(trend: Trend) -> Figure:
    """Each session's value with its error, at 20 °C where the temperature is corrected for; the change in it."""
    history, change = trend.history, trend.change if trend.verdict is Verdict.CHANGED else None
    points = [(point, at_20_c(trend, point)) for point in history.points]
    used = [(point, value) for point, value in points if value is not None]
    traces = [_points(history, used, BLUE, "circle")]
    traces += (
        [_points(history, left, GREY, "circle-open")]
        if (left := [(p, p.value) for p, v in points if v is None])
        else []
    )
    times = [_ms(point.started_at) for point in history.points]
    made = layout(_HEIGHT_PX, dragmode=False, shapes=[], annotations=[])
    made["xaxis"] = _time_axis(times)
    made["yaxis"] = {"title": {"text": f"{history.measure}, {history.unit}"}, **_plain()}
    if change is not None:
        since, until = times[0] if change.after_s is None else 1000 * change.after_s, 1000 * change.before_s
        steps = {"line": {"color": VERMILION, "width": 2.4, "shape": "hv" if change.shape == "step" else "linear"}}
        level = f"%{{y:.4~g}} {history.unit}<extra>level</extra>"
        traces.append(line(1000 * trend.days.time_s, change.fitted, "level", VERMILION, hovertemplate=level, **steps))
        made["shapes"] += [
            band(since, until, "y", ORANGE, 0.25),
            *(moment(at, "y domain", GREY) for at in (since, until)),
        ]
        late = since > (times[0] + times[-1]) / 2
        made["annotations"].append(
            word(until if late else since, 1.0, "began here", xanchor="right" if late else "left", yanchor="bottom")
        )
    return {"data": traces, "layout": made}


def at_20_c(trend: Trend, point: Point) -> float | None:
    """Return a session's value as it counts: without what its temperature adds; None where it does not count."""
    if trend.days.temperature_c is None:
        return point.value
    if point.temperature_c is None:
        return None
    per_degree = trend.change.per_degree if trend.change is not None else None
    return point.value - (per_degree or 0.0) * (point.temperature_c - 20.0)


def _points(history: History, points: Sequence[tuple[Point, float]], colour: str, symbol: str) -> dict[str, Any]:
    said = [_said(point, value, history.unit) for point, value in points]
    errors = {
        "type": "data",
        "array": [point.error for point, _ in points],
        "color": colour,
        "thickness": 1.2,
        "width": 3,
    }
    return line(
        [_ms(point.started_at) for point, _ in points],
        [value for _, value in points],
        "sessions",
        colour,
        mode="markers",
        marker={"color": colour, "size": 7, "symbol": symbol},
        error_y=errors,
        hovertemplate=said,
    )


def _said(point: Point, value: float, unit: str) -> str:
    corrected = f" at 20 °C, from {point.temperature_c:g} °C" if value != point.value else ""
    measured = shown(value, unit, point.error).replace("+-", "±")
    return f"{point.started_at:%Y-%m-%d}: {measured}{corrected}<br>{html.escape(point.session)}<extra></extra>"


def _time_axis(times_ms: Sequence[float]) -> dict[str, Any]:
    first, last = min(times_ms), max(times_ms)
    room = max(_LEAST_ROOM_MS, _ROOM_SHARE * (last - first))
    return {"type": "date", "range": [first - room, last + room], "hoverformat": "%Y-%m-%d", **_plain()}


def _plain() -> dict[str, Any]:
    return {"gridcolor": GRID, "zeroline": False, "fixedrange": True, "automargin": True}


def _ms(moment_: datetime) -> float:
    return 1000 * moment_.astimezone(UTC).timestamp()
