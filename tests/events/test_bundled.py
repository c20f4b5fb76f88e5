"""Dropouts are timed with an error that holds, also where readings arrive several at a time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import groupby

import numpy as np
import pytest

from meterlog.events.detect import examine
from meterlog.reading import Quantity, Reading
from meterlog.series import Series
from meterlog.session.model import Channel
from meterlog.signal.interval import reading_interval
from meterlog.timing.cadence import Cadence

Log = Callable[..., Series]


def arrived(series: Series, arrivals: np.ndarray) -> Series:
    """The readings as they are timed when they arrive so."""
    cadence, given = Cadence(0.0, False), list[Reading]()
    place = 0
    for at_s, together in groupby(arrivals):
        for _ in together:
            place += 1
        some = series.value[len(given) : place]
        given += cadence.timed([Reading(float(at_s), float(value), Quantity.DC_VOLTAGE) for value in some])
    times = np.array([reading.time_s for reading in given])
    return replace(series, time_s=times, time_error_s=np.array([r.time_error_s for r in given], np.float32))


@pytest.mark.parametrize("beat_s", [0.25, 1.0])
@pytest.mark.parametrize("dropout_s", [0.3, 0.5, 1.2])
def test_a_dropout_in_bundled_readings_lasts_what_is_stated(log: Log, beat_s: float, dropout_s: float) -> None:
    for offset_s in (0.0, 0.03, 0.07):
        shown = log([(12.6, 30.0 + offset_s), (0.0, dropout_s), (12.6, 20.0)], interval_s=0.1, window=0.0)
        series = arrived(shown, np.ceil(shown.time_s / beat_s) * beat_s)
        interval = reading_interval(series.time_s, series.time_error_s)
        assert interval.interval_s == pytest.approx(0.1, rel=0.02)
        (event,), watch = examine(Channel(1, "feed", Quantity.DC_VOLTAGE), series)
        assert 0.2 <= watch.shortest_visible_s <= 0.3 + 2 * beat_s
        assert event.kind == "dropout"
        assert event.duration_s is not None
        assert event.duration_error_s is not None
        assert abs(event.duration_s - dropout_s) <= event.duration_error_s <= 0.5


def test_readings_of_one_time_in_an_older_session_have_an_interval() -> None:
    time_s = np.repeat(np.arange(20.0), 4)
    some = np.full(80, 12.6), np.full(80, 0.01, np.float32), np.zeros(80, np.uint16)
    _, watch = examine(Channel(1, "feed", Quantity.DC_VOLTAGE), Series(time_s, *some))
    assert watch.interval.interval_s == pytest.approx(0.25)
    assert watch.shortest_visible_s == pytest.approx(1.25)
