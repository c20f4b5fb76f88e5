"""Checks what the live page works out in the browser: its band, age of readings, the chart, two presses of Stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytest.importorskip("playwright.sync_api")

FEED = {
    "number": 1,
    "label": "feed",
    "point": "C12",
    "measured": "DC voltage",
    "role": "supply (by its words)",
    "unit": "V",
    "up": True,
    "cause": "",
    "age_s": 0.1,
    "silent_after_s": 2.0,
    "interval_s": 0.5,
}
STATE = {"channels": [FEED], "heardS": 0.0, "ended": "", "lost": False, "waitsFor": "", "count": 0}


@pytest.fixture(scope="module")
def tab(browser: Any, page_address: str) -> Any:
    page = browser.new_page()
    page.goto(page_address)
    yield page
    page.close()


def run(tab: Page, module: str, call: str, *values: Any) -> Any:
    """Return what a pure module of the live page answers; `call` is an expression of `m`, the module, and `v`, the
    values."""
    script = f"async (v) => {{ const m = await import('/view-files/live/{module}.js'); return {call}; }}"
    return tab.evaluate(script, list(values))


@pytest.mark.parametrize(
    ("change", "band"),
    [
        ({}, ["calm", "Recording", "Nothing found so far. Events shorter than about 1.0 s may go unseen."]),
        ({"count": 2}, ["calm", "Recording", " Events shorter than about 1.0 s may go unseen."]),
        ({"channels": []}, ["calm", "Waiting for the first reading", ""]),
        ({"waitsFor": "rise 6 V"}, ["calm", "Armed", "rise 6 V. Nothing is kept until then."]),
        (
            {"heardS": 1.8},
            ["calm", "Recording", "Nothing found so far. Events shorter than about 1.0 s may go unseen."],
        ),
        ({"heardS": 2.0}, ["lost", "nothing comes from feed (silent)", "Not the circuit: the meter or its link."]),
        ({"lost": True}, ["lost", "this page cannot reach the computer", "The recording goes on there."]),
        ({"lost": True, "ended": "Ended"}, ["calm", "Ended", ""]),
    ],
)
def test_what_the_band_says_while_there_is_no_alarm(tab: Page, change: dict[str, Any], band: list[str]) -> None:
    assert run(tab, "words", "m.calmBand(v[0])", STATE | change) == band


def test_a_channel_is_named_with_its_point_its_quantity_and_what_it_stands_for(tab: Page) -> None:
    assert run(tab, "words", "m.nameWords(v[0])", FEED) == "feed · C12 · DC voltage · supply (by its words)"
    assert run(tab, "words", "m.nameWords(v[0])", FEED | {"point": "", "role": ""}) == "feed · DC voltage"


@pytest.mark.parametrize(
    ("channel", "heard_s", "state", "words"),
    [
        ({}, 0.4, {}, "link up · read 0.5 s ago"),
        ({}, 30.0, {}, "NO DATA, the meter is silent · read 30 s ago"),
        ({"up": False, "cause": "the port is gone"}, 299.9, {}, "NO DATA, the port is gone · read 5 min ago"),
        ({"age_s": None}, 9.0, {}, "link up · no reading yet"),
        ({}, 0.4, {"lost": True}, "NOT KNOWN · read 0.5 s ago"),
        ({}, 0.4, {"lost": True, "ended": "Ended"}, "ended · read 0.5 s ago"),
    ],
)
def test_how_a_link_is_described(
    tab: Page, channel: dict[str, Any], heard_s: float, state: dict[str, Any], words: str
) -> None:
    assert run(tab, "words", "m.linkWords(...v)", FEED | channel, heard_s, state) == words


def test_only_a_second_press_within_seconds_stops_and_a_tremble_does_not(tab: Page) -> None:
    assert run(tab, "stop_press", "v.map(m.stopPress)", 1e9, 100, 399, 400, 6000, 6001) == [
        *("ask", "ignore", "ignore", "stop", "stop", "ask")
    ]


def test_points_are_added_and_bounded_in_time_and_number(tab: Page) -> None:
    def told(times: list[float], elapsed_s: float, reset: bool = False) -> dict[str, Any]:
        return {
            "reset": reset,
            "elapsed_s": elapsed_s,
            "state": "growing",
            "points": {"1": [times, [1.0] * len(times), [0] * len(times)]},
        }

    first = run(tab, "points", "m.withNews(...v)", {}, told([0.0, 1.0], 1.0, reset=True), 60)
    both = run(tab, "points", "m.withNews(...v)", first, told([2.0], 2.0), 60)
    assert both["1"] == [[0.0, 1.0, 2.0], [1.0] * 3, [0] * 3]
    assert run(tab, "points", "m.withNews(...v)", both, told([62.5], 62.5), 60)["1"][0] == [2.0, 62.5]
    assert run(tab, "points", "m.withNews(...v)", both, told([9.0], 9.0, reset=True), 60)["1"][0] == [9.0]
    many = [0.001 * k for k in range(4000)]
    assert run(tab, "points", "m.withNews(...v)", {}, told(many, 4.0), 60)["1"][0] == many[-1500:]
    assert run(tab, "points", "m.endS(...v)", both, told([], 7.5)) == 7.5
    assert run(tab, "points", "m.endS(...v)", both, told([], 7.5) | {"state": "clean"}) == 2.0


def test_the_chart_shows_overload_markers_and_events_in_their_rows(tab: Page) -> None:
    live = {
        "channels": [FEED, FEED | {"number": 2, "label": "<b>ground"}],
        "points": {"1": [[1, 2, 3], [12, None, 12], [0, 1, 0]]},
        "markers": [[2.5, "wiggle", "", False], [2.6, "triggered", "", True]],
        "events": [{"channel": 2, "kind": "dropout", "colour": "#d55e00", "start_s": 1.0, "end_s": 1.05}],
        "endS": 10.0,
    }
    look = "{ colourOf: () => 'red', grid: 'grey', marker: 'grey' }"
    empty = run(tab, "chart", f"m.emptyChart(v[0], 60, {look})", live["channels"])
    assert (len(empty["traces"]), empty["layout"]["height"], empty["layout"]["xaxis"]["anchor"]) == (4, 300, "y3")
    drawn = run(tab, "chart", f"m.chartUpdate(v[0], 60, {look}, 368)", live)
    assert drawn["data"]["x"] == [[1, 2, 3], [2], [], []]
    assert drawn["change"]["xaxis.range"] == [0, 60]
    marked, triggered, event = drawn["change"]["shapes"]
    assert (marked["x0"], marked["line"]["dash"], triggered["line"]["dash"]) == (2.5, "dash", "dot")
    assert (event["yref"], event["x0"], event["x1"]) == ("y3 domain", 1.0, 1.2)
    texts = [note["text"] for note in drawn["change"]["annotations"]]
    assert texts == ["wiggle", "triggered", "dropout", "feed", " b>ground"]
