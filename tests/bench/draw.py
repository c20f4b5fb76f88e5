"""Measures what drawing costs the page's server: `python -m tests.bench.draw`."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np

from meterlog.drawing.row import POINTS
from meterlog.drawing.row import Row as Drawing
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import Channel
from meterlog.signal.reduce import reduce_series
from meterlog_dashboard.review.clock import Clock
from meterlog_dashboard.review.figures import draw_window, strip_figure
from tests.bench.table import Row, at_least, at_most, best_s, show

READINGS, DROPOUTS = 10_000_000, 200
OVERVIEW_GOAL_S, ZOOM_GOAL_MS, TRACE_GOAL_KB = 1.0, 30.0, 80.0
_CLOCK_START = datetime(2024, 1, 1, tzinfo=UTC)


def noisy(count: int) -> Series:
    """A supply with 200 dropouts of one reading each."""
    rng = np.random.default_rng(1)
    value = np.round(13.8 + rng.normal(0.0, 0.02, count), 2)
    value[np.linspace(count / 400, count - count / 400, DROPOUTS).astype(int)] = 0.0
    return Series(
        np.asarray(np.arange(count) * 0.1, np.float64),
        value,
        np.full(count, 0.01, np.float32),
        np.zeros(count, np.uint16),
    )


def rows() -> Iterator[Row]:
    """The overview of ten million readings, a zoom into them, what goes over the line."""
    series = noisy(READINGS)
    sum_s = best_s(series.value.sum, clock=time.process_time)
    drawn = reduce_series(series, POINTS)
    kept = int(np.count_nonzero(drawn.value == 0.0))
    yield at_least("dropouts of one reading still seen in the overview", kept, DROPOUTS, f"of {DROPOUTS}")
    reduce_s = best_s(lambda: reduce_series(series, POINTS), clock=time.process_time)
    ratio = f"{reduce_s / sum_s:.0f} x numpy.sum"
    yield at_most("10 M readings reduced for an overview", reduce_s, OVERVIEW_GOAL_S, "s", ratio)

    whole_s = float(series.time_s[-1])
    clock = Clock(_CLOCK_START, whole_s)
    drawing = [Drawing(Channel(1, "feed", Quantity.DC_VOLTAGE), series)]
    day = (whole_s / 2, whole_s / 2 + 86_400.0)
    zoom_s = best_s(lambda: json.dumps(draw_window(drawing, [], clock, day).traces), clock=time.process_time)
    ratio = f"{zoom_s / sum_s:.1f} x numpy.sum of all"
    yield at_most("a day of 10 M readings zoomed into, server's side", 1000 * zoom_s, ZOOM_GOAL_MS, "ms", ratio)
    traces = draw_window(drawing, [], clock, (0.0, whole_s)).traces
    traces += strip_figure(drawing, clock, (0.0, whole_s), day)["data"]
    largest = max(len(json.dumps(trace)) for trace in traces)
    raw = len(json.dumps(series.value[:100_000].tolist())) * (READINGS // 100_000)
    yield at_most("the largest trace", largest / 1000, TRACE_GOAL_KB, "kB", f"1/{raw / largest:.0f} of all values")


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
