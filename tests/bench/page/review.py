"""Times Review with a day of ten readings a second: `python -m tests.bench.page.review`.

A real Chromium opens a session of 864,000 readings from the list, then zooms by button and by dragging. Told are the
times from the press to the drawn line, the page's own part of each (the answer of the server), and the largest trace
sent. Goals: first drawing 1.5 s, each zoom 300 ms, 80 kB a trace. Beside them, as a measure of the machine in the same
minute: one `numpy.sum` over the values, and the same first drawing of a session of 30 readings.
"""

from __future__ import annotations

import json
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter
from tests.bench.page.served import chromium, served
from tests.bench.table import Row, at_most, show

if TYPE_CHECKING:
    from playwright.sync_api import Page, Response

READINGS = 864_000
FIRST_GOAL_S, ZOOM_GOAL_MS, TRACE_GOAL_KB = 1.5, 300.0, 80.0
ZOOMS = ("closer", "closer", "later", "closer", "closer", "earlier", "wider", "all", "closer", "later")

# Resolves with ms from now to the first frame in which the detail's line is another one than `before`.
_CHANGED = """(before) => new Promise((done) => {
  const begun = window.letGo || performance.now();
  window.letGo = 0;
  const look = () => {
    const lines = document.querySelectorAll("#detail .js-line");
    const now = Array.from(lines, (line) => line.getAttribute("d")).join();
    const told = document.querySelector("#review-statistics p");
    if (lines.length && now !== before.line && told && told.textContent !== before.told)
      requestAnimationFrame(() => done(performance.now() - begun));
    else if (performance.now() - begun > 20000) done(NaN);
    else requestAnimationFrame(look);
  };
  look();
})"""
_LISTEN = """() => addEventListener(
  "mouseup", () => { window.letGo = performance.now(); }, { capture: true, once: true }
)"""
_BEFORE = """() => ({
  line: Array.from(document.querySelectorAll("#detail .js-line"), (line) => line.getAttribute("d")).join(),
  told: (document.querySelector("#review-statistics p") || {}).textContent,
})"""


def write_day(path: Path, readings: int) -> float:
    """A session of one channel with dropouts; the time of one sum over its values, s."""
    rng = np.random.default_rng(11)
    value = np.round(13.8 + rng.normal(0.0, 0.02, readings), 2)
    value[readings // 3] = 0.02
    value[readings // 2 : readings // 2 + 20] = 0.01
    time_s = np.arange(readings) * 0.1
    resolution, flags = np.full(readings, 0.01, np.float32), np.zeros(readings, np.uint16)
    with SessionWriter.create(path, started_at=datetime(2026, 3, 2, 9, tzinfo=UTC), details={"system_v": "12"}) as new:
        number = new.add_channel("pump feed", Quantity.DC_VOLTAGE, point="plug_feed", interval_s=0.1)
        new.append_series(number, Series(time_s.astype(np.float64), value.astype(np.float64), resolution, flags))
        new.add_marker(20.0, "key-on")
    begun = time.perf_counter()
    value.sum()
    return time.perf_counter() - begun


def rows() -> Iterator[Row]:
    """First drawing, zooms, traces."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        sum_s = write_day(folder / "day.sqlite", READINGS)
        write_day(folder / "short.sqlite", 30)
        with served(folder) as (address, _):
            yield from _measure(address, sum_s)


def _measure(address: str, sum_s: float) -> Iterator[Row]:
    with chromium() as browser:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        sent: list[int] = []
        answered: list[float] = []
        page.on("response", lambda response: _note(response, sent, answered))
        page.goto(f"{address}/sessions")
        short_s = open_review(page, "short")
        page.click("text=Sessions")
        first_s = open_review(page, "day")
        page.wait_for_selector("[data-event]")
        page.wait_for_timeout(1500)
        answered.clear()
        by_button = [zoom(page, move) for move in ZOOMS]
        page.wait_for_timeout(500)
        page.click("#move-all")
        page.wait_for_timeout(1000)
        by_hand = [_drag(page) for _ in range(5)]
        page.goto(f"{address}/sessions/day.sqlite")
    day = f"Review of {READINGS:,} readings"
    ratio = f"{first_s / short_s:.1f} x a session of 30 readings; {first_s / sum_s:.0f} x numpy.sum"
    yield at_most(f"{day}, first drawn from the press", first_s, FIRST_GOAL_S, "s", ratio)
    server = f"the server's part {statistics.median(answered):.0f} ms, at most {max(answered):.0f}"
    for name, times in (("button", by_button), ("drag", by_hand)):
        ratio = f"slowest {max(times):.0f} ms; {server}"
        yield at_most(f"{day}, zoom by {name}, median", statistics.median(times), ZOOM_GOAL_MS, "ms", ratio)
    yield at_most(f"{day}, largest trace sent", max(sent) / 1000, TRACE_GOAL_KB, "kB")


def _note(response: Response, sent: list[int], answered: list[float]) -> None:
    if "_dash-update-component" not in response.url or response.status != 200:
        return
    timing = response.request.timing
    if '"detail"' in (response.request.post_data or "") or "detail.figure" in (response.request.post_data or ""):
        answered.append(timing["responseStart"] - timing["requestStart"])
    sent += [len(json.dumps(trace)) for trace in _traces(response.json())]


def _traces(found: Any) -> list[Any]:
    """Every object in an answer that is a trace."""
    if isinstance(found, dict):
        if "mode" in found and "y" in found:
            return [found]
        return [trace for value in found.values() for trace in _traces(value)]
    if isinstance(found, list):
        return [trace for value in found for trace in _traces(value)]
    return []


def open_review(page: Page, name: str) -> float:
    entry = page.locator("a.session", has_text=f"{name}.sqlite")
    entry.wait_for()
    page.wait_for_timeout(1000)
    begun = time.perf_counter()
    entry.click()
    page.wait_for_selector("#detail .js-line", state="attached")
    return time.perf_counter() - begun


def zoom(page: Page, move: str) -> float:
    before = page.evaluate(_BEFORE)
    press = f"document.getElementById('move-{move}').click();"
    took = float(page.evaluate(f"(before) => {{ const seen = ({_CHANGED})(before); {press} return seen; }}", before))
    page.wait_for_timeout(200)
    return took


def _drag(page: Page) -> float:
    """From letting go to the line in full detail."""
    box = page.locator("#detail .nsewdrag").first.bounding_box()
    assert box is not None
    x, y = box["x"] + 0.3 * box["width"], box["y"] + 0.5 * box["height"]
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 0.2 * box["width"], y, steps=4)
    page.mouse.move(x + 0.45 * box["width"], y, steps=4)
    before = page.evaluate(_BEFORE)
    page.evaluate(_LISTEN)
    page.mouse.up()
    took = float(page.evaluate(_CHANGED, before))
    page.wait_for_timeout(300)
    return took


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
