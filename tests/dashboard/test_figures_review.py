"""Checks what Review draws: nothing small vanishes, nothing missing is joined, what is sent stays small."""

from __future__ import annotations

import base64
import json
from datetime import UTC, datetime
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from meterlog.drawing.row import Row, Window
from meterlog.events.event import Event
from meterlog.findings import Line
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session.model import Channel, Marker
from meterlog_dashboard.review.clock import Clock
from meterlog_dashboard.review.figures import detail_figure, draw_window, strip_figure

DAY = 864_000
DROPOUT, OVERLOAD, GAP = 612_345, slice(100_000, 100_050), slice(400_000, 400_600)
CLOCK = Clock(datetime(2026, 3, 2, 9, tzinfo=UTC), 86_400.0)


@pytest.fixture(scope="module")
def day() -> Series:
    rng = np.random.default_rng(7)
    value: NDArray[np.float64] = np.round(13.8 + rng.normal(0.0, 0.02, DAY), 2).astype(np.float64)
    value[DROPOUT] = 0.03
    value[OVERLOAD] = np.inf
    flags = np.where(np.isinf(value), int(Flag.OVERLOAD), 0).astype(np.uint16)
    time_s: NDArray[np.float64] = np.arange(DAY, dtype=np.float64) * 0.1
    series = Series(time_s, value, np.full(DAY, 0.01, np.float32), flags)
    kept = np.ones(DAY, np.bool_)
    kept[GAP] = False
    return Series(series.time_s[kept], value[kept], series.resolution[kept], flags[kept])


def row(series: Series, **more: Any) -> Row:
    return Row(Channel(1, "pump feed", Quantity.DC_VOLTAGE, "plug"), series, **more)


def numbers(spec: dict[str, str]) -> NDArray[np.float64]:
    data = np.frombuffer(base64.b64decode(spec["bdata"]), "<" + spec["dtype"])
    return data.astype(np.float64)


def drawn(window: Window) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return numbers(window.traces[0]["x"]), numbers(window.traces[0]["y"])


@pytest.mark.parametrize("length_s", [86_400.0, 30_000.0, 3_000.0, 300.0, 30.0, 3.0])
def test_a_dropout_of_one_reading_in_a_day_shows_at_every_zoom(day: Series, length_s: float) -> None:
    middle_s = DROPOUT * 0.1
    for share in (0.1, 0.5, 0.9):
        span = (middle_s - share * length_s, middle_s + (1 - share) * length_s)
        _, y = drawn(draw_window([row(day)], [], CLOCK, span))
        assert np.nanmin(y) == pytest.approx(0.03)


def test_a_trace_stays_under_80_kb_at_every_zoom(day: Series) -> None:
    for span in ((0.0, 86_400.0), (1_000.0, 2_000.0)):
        for trace in draw_window([row(day)], [], CLOCK, span).traces:
            assert len(json.dumps(trace)) < 80_000


def test_a_gap_is_shaded_named_and_not_joined(day: Series) -> None:
    window = draw_window([row(day)], [], CLOCK, (39_900.0, 40_200.0))
    x, y = drawn(window)
    start, end = CLOCK.ms([39_999.9, 40_060.0])
    inside = (x > start) & (x < end)
    assert np.isnan(y[inside]).all()
    assert inside.any()
    assert any(s["x0"] == pytest.approx(start) and s["x1"] == pytest.approx(end) for s in window.shapes)
    assert "no data" in [note["text"] for note in window.words]


def test_overload_is_drawn_as_such(day: Series) -> None:
    window = draw_window([row(day)], [], CLOCK, (9_990.0, 10_020.0))
    x, y = drawn(window)
    inside = (x >= CLOCK.ms(10_000.0)) & (x <= CLOCK.ms(10_004.9))
    assert np.isnan(y[inside]).all()
    assert "overload (OL)" in [note["text"] for note in window.words]


def test_a_limit_is_drawn_where_it_is_near_and_its_figure_hides_no_reading(day: Series) -> None:
    limits = [Line(1, 13.9, "highest voltage"), Line(1, 400.0, "far away")]
    window = draw_window([row(day, limits=limits)], [], CLOCK, (0.0, 60.0))
    lines = [shape for shape in window.shapes if shape["type"] == "line"]
    assert [line["y0"] for line in lines] == [13.9]
    (figure,) = [note for note in window.words if note["text"].startswith("13.9")]
    assert (figure["xref"], figure["x"], figure["xanchor"]) == ("paper", 1.0, "left"), "in the right margin"
    assert window.limits == [f"pump feed: {figure['text']}: highest voltage"]
    assert any("pump feed at plug, DC voltage in V" in note["text"] for note in window.words)
    assert window.heights[0][0] < 13.7
    assert 13.9 < window.heights[0][1] < 15.0


def test_a_long_title_takes_two_lines_and_ends(day: Series) -> None:
    label = "fuel pump feed behind the left rear seat, grey plug of four, pin 3, white and black"
    long = Row(Channel(1, label, Quantity.DC_VOLTAGE, "plug"), day)
    title = next(n for n in draw_window([long], [], CLOCK, (0.0, 60.0)).words if "fuel pump" in n["text"])
    first, second = title["text"].split("<br>")
    assert len(first) <= 42
    assert second.endswith("…")


def test_events_carry_their_numbers_and_the_chosen_one_stands_out(day: Series) -> None:
    events = [(1, Event("dropout", 1, 100.0, 100.5)), (2, Event("sag", 1, 110.0, 112.0))]
    window = draw_window([row(day, events=events)], [], CLOCK, (90.0, 120.0), chosen=2)
    marks = window.traces[1]
    assert marks["customdata"] == [1, 2]
    assert marks["marker"]["size"][1] > marks["marker"]["size"][0]
    assert len([shape for shape in window.shapes if shape["type"] == "rect"]) == 2


def test_thousands_of_events_do_not_reach_the_browser(day: Series) -> None:
    events = [(n, Event("sag", 1, 10.0 * n, 10.0 * n + 1)) for n in range(1, 8_000)]
    window = draw_window([row(day, events=events)], [], CLOCK, (0.0, 86_400.0), chosen=4_242)
    assert len(window.traces[1]["customdata"]) <= 151
    assert 4_242 in window.traces[1]["customdata"]


def test_what_was_typed_stays_text(day: Series) -> None:
    window = draw_window([row(day)], [Marker(1, 5.0, "<b>key</b>")], CLOCK, (0.0, 60.0))
    assert any("&lt;b&gt;" in note["text"] for note in window.words)
    assert not any("<b>" in note["text"] for note in window.words)


def test_each_channel_has_a_row_of_its_own_over_one_time_axis(day: Series) -> None:
    rows = [row(day), row(day), row(day)]
    window = draw_window(rows, [], CLOCK, (0.0, 60.0))
    layout = detail_figure(window, rows, CLOCK, (0.0, 60.0))["layout"]
    domains = [layout[axis]["domain"] for axis in ("yaxis", "yaxis2", "yaxis3")]
    assert domains[0][0] > domains[1][1] > domains[1][0] > domains[2][1]
    assert layout["xaxis"]["title"]["text"] == "time of day, UTC+00:00"
    assert len(strip_figure(rows, CLOCK, (0.0, 86_400.0), (0.0, 60.0))["data"]) == 3


def test_a_session_without_channels_or_readings_is_an_empty_plot() -> None:
    nothing = Series(np.empty(0), np.empty(0), np.empty(0, np.float32), np.empty(0, np.uint16))
    window = draw_window([row(nothing)], [], CLOCK, (0.0, 1.0))
    assert len(drawn(window)[0]) == 0
    assert detail_figure(draw_window([], [], CLOCK, (0.0, 1.0)), [], CLOCK, (0.0, 1.0))["data"] == []
