"""The figures of a report: a channel with its limits, events and markers, and a suspect over the known-good.

Time runs in s from the session's start, and the ink is that of paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from meterlog.comparing.comparison import Band, ChannelComparison, Excursion
from meterlog.drawing.palette import BLACK, GRID, ORANGE
from meterlog.drawing.primitives import Figure, band, layout, word
from meterlog.drawing.reference import MOST_EXCURSIONS, edges, middle_and_suspect, thinned
from meterlog.drawing.row import LIMIT_PX, Row, TimeAxis, Window, draw_markers, draw_row
from meterlog.drawing.scale import fixed_scales
from meterlog.events.event import Event
from meterlog.loaded import Loaded
from meterlog.reading import Quantity
from meterlog.session.model import Channel
from meterlog.sides import Sides

_HEIGHT_PX = 300
"""Two plots fit on a printed page."""
_NAME_LETTERS = 24
"""Longer names are wrapped in a legend."""


def channel_figure(
    capture: Loaded,
    channel: Channel,
    numbered: Sequence[tuple[int, Event]],
    shown: tuple[float, float] | None = None,
) -> Figure:
    """One channel over time, or over a stretch of it, with its limits, numbered events and the session's markers."""
    time = TimeAxis(shown or (0.0, max(capture.duration_s, 0.1)), _seconds, "%{x:.2f} s")
    row = Row(
        channel,
        capture.believed(channel.number),
        numbered,
        capture.analysis.lines(channel.number),
        fixed_scales(capture)[channel.number],
    )
    window = Window()
    draw_row(window, "y", row, time)
    draw_markers(window, capture.markers, time, letters=_NAME_LETTERS)
    figure = _figure(window, f"{channel.quantity.words} in {window.units[0]}", time.span)
    figure["layout"]["yaxis"]["range"] = list(window.heights[0])
    figure["layout"]["margin"] |= {"r": LIMIT_PX}
    return figure


def band_figure(one: Band, excursions: Sequence[Excursion], channel: ChannelComparison, sides: Sides) -> Figure:
    """The suspect over the band of the known-good, in one pass; excursions shaded."""
    found = thinned(one)
    times = found.time_s
    span = (float(times[0]), float(times[-1])) if len(times) else (0.0, 1.0)
    hover = f"%{{x:.2f}} s: %{{y:.4~g}} {channel.unit}"
    window = Window([*edges(found, sides), *middle_and_suspect(found, hover, sides)])
    for excursion in excursions[:MOST_EXCURSIONS]:
        end_s = max(excursion.end_s, excursion.start_s + 0.004 * (span[1] - span[0]))
        window.shapes.append(band(excursion.start_s, end_s, "y", ORANGE, 0.25))
    if excursions:
        window.words.append(word(excursions[0].start_s, 0.0, "beyond all errors"))
    figure = _figure(window, f"{Quantity(channel.quantity).words} in {channel.unit}", span)
    figure["layout"] |= {"showlegend": True, "legend": {"orientation": "h", "x": 0, "y": 1.02, "yanchor": "bottom"}}
    return figure


def _seconds(time_s: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(time_s, np.float64)


def _figure(window: Window, y_title: str, span: tuple[float, float]) -> Figure:
    grid: dict[str, Any] = {"gridcolor": GRID, "automargin": True}
    made = layout(_HEIGHT_PX, dragmode=False, shapes=window.shapes, annotations=window.words)
    made["margin"] |= {"l": 56, "r": 12, "t": 58, "b": 42}
    made["font"] |= {"color": BLACK}
    made["xaxis"] = {"title": {"text": "s from the start"}, "range": list(span), "zeroline": False, **grid}
    made["yaxis"] = {"title": {"text": y_title}, "zerolinecolor": GRID, **grid}
    return {"data": window.traces, "layout": made}
