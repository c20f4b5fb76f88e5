"""Checks what the live page works out in the browser: what is so now, the link, markers, the chart, Stop."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pytest

from tests.dashboard.conftest import offer_modules

if TYPE_CHECKING:
    from playwright.sync_api import Page

pytest.importorskip("playwright.sync_api")

FEED: dict[str, Any] = {
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
    "scale": [-1.7, 17.0],
    "link": {"sort": "calm", "word": "link up", "text": "", "since": "up"},
    "now": {"sort": "calm", "word": "on at", "text": "12.10 V", "since": "on 1.0"},
}
STATE = {"channels": [FEED], "heardS": 0.0, "ended": "", "lost": False, "waitsFor": ""}
OFF = {"sort": "trouble", "word": "OFF for 3 s", "text": "-0.01 V; it stood at 12.10 V", "since": "off 25.4"}
DEAD = {"sort": "lost", "word": "no link for 5 s", "text": "the port is gone", "since": "down"}
GROUND = FEED | {"number": 2, "label": "ground", "now": FEED["now"] | {"word": "0.02 V", "text": ""}}


@pytest.fixture(scope="module")
def tab(browser: Any, page_address: str) -> Any:
    page = browser.new_page()
    offer_modules(page)
    page.goto(page_address)
    yield page
    page.close()


def run(tab: Page, module: str, call: str, *values: Any) -> Any:
    """Return what a pure module of the live page answers; `call` is an expression of `m`, the module, and `v`, the
    values."""
    script = f"async (v) => {{ const m = await import('/modules/live/{module}.js'); return {call}; }}"
    return tab.evaluate(script, list(values))


@pytest.mark.parametrize(
    ("change", "band"),
    [
        ({}, ["calm", "feed: on at", "12.10 V"]),
        ({"channels": [GROUND, FEED]}, ["calm", "ground: 0.02 V", "feed: on at 12.10 V"]),
        ({"channels": [GROUND, FEED | {"now": OFF}]}, ["trouble", "feed: OFF for 3 s", OFF["text"]]),
        ({"channels": []}, ["calm", "Waiting for the first reading", ""]),
        (
            {"waitsFor": "rise 6 V"},
            ["calm", "Armed", "rise 6 V. Nothing is kept until then. feed: on at 12.10 V"],
        ),
        ({"waitsFor": "rise 6 V", "channels": [FEED | {"now": OFF}]}, ["trouble", "feed: OFF for 3 s", OFF["text"]]),
        ({"lost": True}, ["lost", "not known", "feed was last on at 12.10 V"]),
        ({"lost": True, "ended": "Ended"}, ["calm", "Ended", ""]),
    ],
)
def test_the_band_says_what_is_so_now_the_worst_channel_first(
    tab: Page, change: dict[str, Any], band: list[str]
) -> None:
    assert run(tab, "words", "m.bandNow(v[0])", STATE | change) == band


@pytest.mark.parametrize(
    ("change", "link"),
    [
        ({}, ["calm", "link up"]),
        ({"channels": [FEED | {"link": DEAD, "now": OFF}]}, ["lost", "feed: no link for 5 s, the port is gone"]),
        (
            {"lost": True, "heardS": 5.4},
            ["lost", "This page cannot reach the computer for 5 s. The recording goes on there."],
        ),
        ({"lost": True, "ended": "Ended"}, ["calm", ""]),
    ],
)
def test_the_link_has_a_place_of_its_own(tab: Page, change: dict[str, Any], link: list[str]) -> None:
    assert run(tab, "words", "m.linkNow(v[0])", STATE | change) == link


def test_what_was_not_seen_is_counted_with_the_newest_of_it(tab: Page) -> None:
    one, two = {"words": "dropout on feed at 0:02.0"}, {"words": "sag on feed at 0:09.0"}
    assert run(tab, "words", "m.unseenWords(v)") == ""
    assert run(tab, "words", "m.unseenWords(v)", one) == "1 not seen: dropout on feed at 0:02.0"
    assert run(tab, "words", "m.unseenWords(v)", one, two) == "2 not seen: last sag on feed at 0:09.0"


def test_each_state_is_sounded_once_when_it_begins(tab: Page) -> None:
    looks = [[FEED], [FEED], [FEED | {"now": OFF}], [FEED | {"now": OFF | {"word": "OFF for 4 s"}}], [FEED]]
    told = run(tab, "words", "v[1].map((channels) => m.begun(channels, v[0]))", {}, looks)
    assert [[one["sort"] for one in news] for news in told] == [[], [], ["trouble"], [], ["calm"]]
    assert told[2][0]["spoken"] == "feed OFF for 3 s"
    first = run(tab, "words", "m.begun(v[1], v[0])", {}, [FEED | {"link": DEAD}])
    assert [one["sort"] for one in first] == ["lost"], "what is wrong when the page is opened is sounded too"


def test_the_shortest_event_that_shows_is_said(tab: Page) -> None:
    assert run(tab, "words", "m.limitWords([v[0]], 0)", FEED) == (
        "Nothing found so far. Events shorter than about 1.0 s may go unseen."
    )
    assert run(tab, "words", "m.limitWords([v[0]], 2)", FEED) == "Events shorter than about 1.0 s may go unseen."


def test_a_press_waits_for_the_line_and_is_sent_once_with_its_own_time(tab: Page) -> None:
    sent = tab.evaluate(
        """async (address) => {
      sessionStorage.clear();
      const m = await import(address), sent = [], at = 1e12;
      let up = false;
      const send = async (path, body) => {
        if (!up) throw new TypeError("no line");
        sent.push([path, body]);
        return body;
      };
      for (const [name, s] of [["key-on", 0], ["crank", 2], ["key-off", 7]]) m.addPress("/live/a", name, at + 1000 * s);
      await m.sendPresses("/live/a", send, () => at + 20000);
      const waiting = m.waitingOf("/live/a").length;
      up = true;
      await m.sendPresses("/live/a", send, () => at + 20000);
      await m.sendPresses("/live/a", send, () => at + 21000);
      return { waiting, left: m.waitingOf("/live/a").length, sent: sent.map(([path, b]) => [path, b.name, b.ago_s]) };
    }""",
        "/modules/live/presses.js",
    )
    path = "/live/a/marker"
    assert sent["waiting"] == 3
    assert sent["sent"] == [[path, "key-on", 20], [path, "crank", 18], [path, "key-off", 13]]
    assert sent["left"] == 0


def test_a_channel_is_named_with_its_point_its_quantity_and_what_it_stands_for(tab: Page) -> None:
    assert run(tab, "words", "m.nameWords(v[0])", FEED) == "feed · C12 · DC voltage · supply (by its words)"
    assert run(tab, "words", "m.nameWords(v[0])", FEED | {"point": "", "role": ""}) == "feed · DC voltage"


@pytest.mark.parametrize(
    ("channel", "heard_s", "state", "words"),
    [
        ({}, 0.4, {}, "link up · read 0.5 s ago"),
        ({"link": DEAD}, 5.0, {}, "no link for 5 s, the port is gone · read 5.1 s ago"),
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
    assert drawn["change"]["yaxis.range"] == drawn["change"]["yaxis3.range"] == [-1.7, 17.0]
    marked, triggered, event = drawn["change"]["shapes"]
    assert (marked["x0"], marked["line"]["dash"], triggered["line"]["dash"]) == (2.5, "dash", "dot")
    assert (event["yref"], event["x0"], event["x1"]) == ("y3 domain", 1.0, 1.2)
    texts = [note["text"] for note in drawn["change"]["annotations"]]
    assert texts == ["wiggle", "triggered", "dropout", "feed", " b>ground"]
