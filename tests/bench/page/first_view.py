"""Times the first view over a weak line: `python -m tests.bench.page.first_view`.

A phone-sized Chromium that has never been there opens the start page and the list of sessions with 50 kB/s in each
direction and 400 ms of delay (set through the browser's developer protocol). Told is the time from the address to the
view's heading, once with a server that has just begun and then the median of some; beside it the same without the
limits. Goal: 6 s.
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog.job.job_file import create_job
from tests.bench.page.large import RECORDINGS
from tests.bench.page.served import chromium, served
from tests.bench.table import Row, at_most, show

if TYPE_CHECKING:
    from playwright.sync_api import Browser

GOAL_S = 6.0
_WEAK = {"offline": False, "latency": 400, "downloadThroughput": 50_000, "uploadThroughput": 50_000}
_TIMES = 5


def rows() -> Iterator[Row]:
    """The start page and the list."""
    with tempfile.TemporaryDirectory() as name, chromium() as browser:
        folder = Path(name)
        for path in RECORDINGS.glob("*.sqlite"):
            shutil.copy(path, folder / path.name)
        for vehicle in ("blue van", "red van", "truck"):
            create_job(folder / vehicle, complaint="dies", vehicle=vehicle, meters=(), tool="meter", details={})
        with served(folder) as (address, _):
            begun_s, _, _ = first_view(browser, address, _WEAK)
        with served(folder) as (address, _):
            for view in ("/", "/sessions"):
                yield from _rows(browser, address, view, begun_s if view == "/" else None)


def _rows(browser: Browser, address: str, path: str, begun_s: float | None) -> Iterator[Row]:
    plain_s, asked, sent = first_view(browser, address + path)
    took_s = [first_view(browser, address + path, _WEAK)[0] for _ in range(_TIMES)]
    what = f"first view of {path} at 50 kB/s and 400 ms"
    ratio = f"without limits {plain_s:.2f} s; {asked} questions, {sent / 1000:.0f} kB; slowest {max(took_s):.2f} s"
    yield at_most(f"{what}, median", statistics.median(took_s), GOAL_S, "s", ratio)
    if begun_s is not None:
        yield at_most(f"{what}, of a server just begun", begun_s, GOAL_S, "s")


def first_view(browser: Browser, address: str, line: dict[str, Any] | None = None) -> tuple[float, int, float]:
    """Open an address as one who was never there; time to its heading, s, questions asked, and bytes received."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    page, received, asked = context.new_page(), [0.0], [0]
    devtools = context.new_cdp_session(page)
    devtools.send("Network.enable")
    devtools.send("Network.emulateNetworkConditions", line or {**_WEAK, "latency": 0, "downloadThroughput": -1})

    def count(told: dict[str, Any]) -> None:
        received[0] += told["encodedDataLength"]
        asked[0] += 1

    devtools.on("Network.loadingFinished", count)
    begun_s = time.perf_counter()
    page.goto(address, wait_until="commit")
    page.wait_for_selector("#view h1")
    took_s = time.perf_counter() - begun_s
    context.close()
    return took_s, asked[0], received[0]


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
