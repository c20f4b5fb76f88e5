"""Times the page with much in it: `python -m tests.bench.page.large`.

A folder of 5,000 sessions in a real Chromium: from a server that has just said its address to the first list, the same
once all files are known, a search from the key to the new list. Goals: 1.5 s, 1.5 s, 300 ms. And Review of a session of
ten million readings (eleven days at ten a second): first drawn, and zooms by button. Goals: 1.2 s,
200 ms in the median and 400 ms at the worst. Beside them: an empty folder's list, the same first drawing of 30
readings, and a page that draws the same figures and does nothing else.
"""

from __future__ import annotations

import shutil
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from tests.bench.page.only_plot import figure_of, first_drawn_s, only_plot, redrawn_ms
from tests.bench.page.review import ZOOMS, open_review, write_day, zoom
from tests.bench.page.served import chromium, served
from tests.bench.table import Row, at_most, show

if TYPE_CHECKING:
    from playwright.sync_api import Page

SESSIONS, READINGS = 5000, 10_000_000
LIST_GOAL_S, SEARCH_GOAL_MS, FIRST_GOAL_S, ZOOM_GOAL_MS, SLOWEST_GOAL_MS = 1.5, 300.0, 1.2, 200.0, 400.0
RECORDINGS = Path(__file__).parents[3] / "recordings"
_WORDS = ("van 4711", "van 77 dies", "relay", "van 123 cranks", "no such thing")

# Whether the sentence over the list speaks of all sessions.
_ALL_READ = "() => !document.getElementById('session-said').textContent.includes('so far')"

# ms from the key to the first frame in which another sentence stands over the list.
_SEARCH = """(text) => new Promise((done) => {
  const field = document.getElementById("session-search"), said = document.getElementById("session-said");
  const old = said.textContent, begun = performance.now();
  Object.getOwnPropertyDescriptor(HTMLInputElement.prototype, "value").set.call(field, text);
  field.dispatchEvent(new Event("input", { bubbles: true }));
  const look = () => {
    if (said.textContent !== old) requestAnimationFrame(() => done(performance.now() - begun));
    else if (performance.now() - begun > 20000) done(NaN);
    else requestAnimationFrame(look);
  };
  look();
})"""


def write_many(folder: Path, sessions: int) -> None:
    """Copies of the sample sessions, each of a vehicle and an hour of its own."""
    samples = sorted(RECORDINGS.glob("*.sqlite"))
    for number in range(sessions):
        path = folder / f"s{number:05d}.sqlite"
        shutil.copy(samples[number % len(samples)], path)
        begun = datetime(2024, 1, 1, tzinfo=UTC) + timedelta(hours=3 * number)
        with closing(sqlite3.connect(path)) as file:
            file.execute("PRAGMA synchronous = OFF")
            file.execute("UPDATE recording SET started_at = ?", (begun.isoformat(),))
            file.execute("UPDATE detail SET value = ? WHERE key = 'vehicle'", (f"van {number}",))
            file.commit()


def rows() -> Iterator[Row]:
    """The list, the search, the long Review."""
    with chromium() as browser, tempfile.TemporaryDirectory() as name:
        page = browser.new_page(viewport={"width": 1280, "height": 900})
        many, bare, long = (Path(name) / part for part in ("many", "bare", "long"))
        for folder in (many, bare, long):
            folder.mkdir()
        with served(bare) as (address, _):
            page.goto(f"{address}/sessions")  # the browser's own beginnings are over
            bare_s = _list(page, address, "#session-said")
        write_many(many, SESSIONS)
        yield from _many(page, many, bare_s)
        shutil.rmtree(many)
        write_day(long / "long.sqlite", READINGS)
        write_day(long / "short.sqlite", 30)
        yield from _long(page, long)


def _list(page: Page, address: str, awaited: str) -> float:
    begun = time.perf_counter()
    page.goto(f"{address}/sessions")
    page.wait_for_selector(awaited)
    return time.perf_counter() - begun


def _many(page: Page, folder: Path, bare_s: float) -> Iterator[Row]:
    what = f"a folder of {SESSIONS:,} sessions"
    with served(folder) as (address, _):
        first_s = _list(page, address, "a.session")
        yield at_most(f"{what}, first list of a server just begun", first_s, LIST_GOAL_S, "s", _times(first_s, bare_s))
        page.wait_for_function(_ALL_READ, timeout=300_000)
        again_s = _list(page, address, "a.session")
        yield at_most(f"{what}, list once all are known", again_s, LIST_GOAL_S, "s", _times(again_s, bare_s))
        page.wait_for_timeout(1000)
        took = [float(page.evaluate(_SEARCH, words)) for words in _WORDS]
        ratio = f"slowest {max(took):.0f} ms"
        yield at_most(f"{what}, search, median", statistics.median(took), SEARCH_GOAL_MS, "ms", ratio)


def _times(one_s: float, other_s: float) -> str:
    return f"{one_s / other_s:.1f} x that of an empty folder"


def _long(page: Page, folder: Path) -> Iterator[Row]:
    what = f"Review of {READINGS:,} readings"
    with served(folder) as (address, _):
        page.goto(f"{address}/sessions")
        short_s = open_review(page, "short")
        page.click("text=Sessions")
        first_s = open_review(page, "long")
        page.wait_for_selector("[data-event]", timeout=120_000)
        page.wait_for_timeout(2000)
        took, figures = [], [figure_of(page)]
        for move in ZOOMS:
            took.append(zoom(page, move))
            figures.append(figure_of(page))
    plain = folder / "plain"
    plain.mkdir()
    with only_plot(plain, figures) as address:
        plain_s = first_drawn_s(page, address)
        again = [redrawn_ms(page, number) for number in range(1, len(figures))]
    ratio = f"{first_s / short_s:.1f} x 30 readings; only this plot {plain_s:.2f} s"
    yield at_most(f"{what}, first drawn from the press", first_s, FIRST_GOAL_S, "s", ratio)
    ratio = f"only these plots {statistics.median(again):.0f} ms"
    yield at_most(f"{what}, zoom by button, median", statistics.median(took), ZOOM_GOAL_MS, "ms", ratio)
    ratio = f"only these plots {max(again):.0f} ms"
    yield at_most(f"{what}, zoom by button, slowest of {len(took)}", max(took), SLOWEST_GOAL_MS, "ms", ratio)


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
