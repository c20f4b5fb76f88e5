"""The live page: from a meter's byte on the wire to the pixel, and what an hour of readings does to memory.

`python -m tests.bench.page.live [SECONDS]` serves the page, records four emulated meters (pseudo-terminals, 10 readings
a second each) through its form's own start, opens the live page in Chromium twice and takes from one of them when each
value was painted. A reading that the next one overtook counts as painted when that one was. Goal: 95 % within 300 ms.

`python -m tests.bench.page.live --hour [SECONDS]` writes an hour of readings (four channels, 40 a second in all) within
so many seconds (120) while two pages follow, and compares the browser's heap and the server's memory at the end with
those at a fifth of the way. Goal: less than 5 % more. The pages ask and draw without a pause, to come nearer to an
hour's 25,000 questions; it prints how many were asked.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import psutil
from playwright.sync_api import Page, Route

from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter
from meterlog_dashboard.record.recorder_process import RecorderOptions, Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.bench.page.served import chromium, served
from tests.bench.table import Row, at_most, show

METERS, RATE_HZ = 4, 10.0
LATENCY_GOAL_MS, GROWTH_GOAL = 300.0, 0.05
_HOUR_S = 3600.0
_LEAD_S = 25.0

_OBSERVE = """() => {
  window.painted = [];
  const after = (go) => requestAnimationFrame(() => setTimeout(go, 0));
  for (const output of document.querySelectorAll('.readout output')) {
    const label = output.parentNode.querySelector('h2').textContent.split(' ')[0];
    new MutationObserver(() => after(() => window.painted.push(
      [label, output.textContent, performance.timeOrigin + performance.now()])))
      .observe(output, { childList: true, characterData: true, subtree: true });
  }
}"""


@contextmanager
def live_pages(address: str, name: str, hurried: bool = False) -> Iterator[tuple[Page, Page]]:
    """The live page of a session, open twice, asking without a pause if `hurried`; an error on the console ends it."""
    with chromium() as browser:
        pages = browser.new_page(viewport={"width": 1280, "height": 900}), browser.new_page()
        errors: list[str] = []
        for page in pages:
            page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
            page.on("pageerror", lambda error: errors.append(str(error)))
            if hurried:
                page.route("**/all.js", _without_pause)
            page.goto(f"{address}/record/{name}")
            page.wait_for_selector("#strip-chart .js-plotly-plot .scatterlayer path", state="attached")
        yield pages
        if errors:
            sys.exit(f"errors on the console: {errors}")


def _without_pause(route: Route) -> None:
    script = route.fetch().text()
    hurried = script.replace("PAUSE_MS = 100", "PAUSE_MS = 0").replace("DRAW_EVERY_MS = 250", "DRAW_EVERY_MS = 0")
    if hurried.count("_MS = 0") != 2:
        sys.exit("live.js names its pauses otherwise by now")
    route.fulfill(body=hurried, content_type="text/javascript")


def rows(seconds: float = 40.0) -> Iterator[Row]:
    """From wire to pixel."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        log = folder / "sent.npy"
        command = [sys.executable, "-m", "tests.bench.record", "--emulate"]
        command += [str(METERS), str(RATE_HZ), str(seconds + _LEAD_S), str(log)]
        emulator = stack.enter_context(
            subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        )
        assert emulator.stdout is not None
        assert emulator.stdin is not None
        ports = [emulator.stdout.readline().strip() for _ in range(METERS)]
        recorders = Recorders(SessionFolder(folder))
        name = recorders.start(RecorderOptions([f"status14:{port}?label=meter{n}" for n, port in enumerate(ports)]))
        address, server = stack.enter_context(served(folder))
        page, _ = stack.enter_context(live_pages(address, name))
        page.wait_for_timeout(1000)
        page.evaluate(_OBSERVE)
        begun_s, cpu = time.monotonic(), _cpu_s(server)
        page.wait_for_timeout(1000 * (seconds - 2))
        painted = page.evaluate("window.painted")
        cpu_percent = 100 * (_cpu_s(server) - cpu) / (time.monotonic() - begun_s)
        wall_s = time.time() - time.monotonic()
        recorders.stop(name)
        while not log.exists():
            time.sleep(0.05)
        emulator.stdin.close()
        latency_ms = _latencies_ms(np.load(log), painted, begun_s, wall_s)
    yield _row(latency_ms, cpu_percent)


def _cpu_s(process: subprocess.Popen[str]) -> float:
    times = psutil.Process(process.pid).cpu_times()
    return float(times.user + times.system)


def _latencies_ms(sent: Any, painted: list[tuple[str, str, float]], begun_s: float, wall_s: float) -> Any:
    """For each reading sent while the page was watched, the time to the first picture that shows it or a later one."""
    found = []
    for meter in range(len(sent)):
        shown = [(round(float(text.split()[0]) * 100), at) for label, text, at in painted if label == f"meter{meter}"]
        numbers = np.maximum.accumulate([number for number, _ in shown])
        at_s = np.array([at for _, at in shown]) / 1000 - wall_s
        watched = (sent[meter] > begun_s) & (np.arange(len(sent[meter])) <= numbers[-1])
        for number in np.nonzero(watched)[0]:
            found.append(1000 * (at_s[np.searchsorted(numbers, number)] - sent[meter][number]))
    return np.array(found)


def _row(latency_ms: Any, cpu_percent: float) -> Row:
    middle, most, worst = (float(np.quantile(latency_ms, share)) for share in (0.5, 0.95, 1.0))
    ratio = f"median {middle:.0f}, worst {worst:.0f}; the server {cpu_percent:.0f} % of a core"
    what = f"{METERS} meters at {RATE_HZ:g}/s on two live pages, wire to pixel at 95 %"
    return at_most(what, most, LATENCY_GOAL_MS, "ms", ratio)


def hour(seconds: float) -> Iterator[Row]:
    """Write an hour of readings in so many seconds while two pages follow; compare memory."""
    with tempfile.TemporaryDirectory() as name, served(Path(name)) as (address, server):
        folder = Path(name)
        speed = _HOUR_S / seconds
        writer = SessionWriter.create(folder / "hour.sqlite", monotonic_start_s=time.monotonic())
        channels = [writer.add_channel(f"meter{n}", Quantity.DC_VOLTAGE, interval_s=0.1) for n in range(METERS)]
        over = threading.Event()
        thread = threading.Thread(target=_write, args=(writer, channels, speed, over))
        thread.start()
        try:
            with live_pages(address, "hour.sqlite", hurried=True) as (page, _):
                asked: list[str] = []
                page.on("request", lambda request: asked.append(request.url))
                devtools = page.context.new_cdp_session(page)
                page.wait_for_timeout(1000 * seconds / 5)
                early = _memory(devtools, server)
                page.wait_for_timeout(1000 * seconds * 0.75)
                late = _memory(devtools, server)
            ratio = f"{len(asked)} questions in {seconds:g} s"
            for what, first, last in zip(("browser's heap", "server's memory"), early, late, strict=True):
                growth = f"{first:.1f} MB, then {last:.1f} MB; {ratio}"
                share = 100 * (last / first - 1)
                yield at_most(f"an hour live, growth of the {what}", share, 100 * GROWTH_GOAL, "%", growth)
        finally:
            over.set()
            thread.join()
            writer.close()


def _write(writer: SessionWriter, channels: list[int], speed: float, over: threading.Event) -> None:
    """Readings whose times run `speed` times as fast as the clock, in pieces of a tenth of a second."""
    start_s, sent = writer.monotonic_start_s, 0
    while not over.wait(0.1):
        due = int((time.monotonic() - start_s) * speed * RATE_HZ)
        for channel in channels:
            writer.append(
                channel,
                [
                    Reading(start_s + i / RATE_HZ, 12.0 + 0.01 * (i % 37), Quantity.DC_VOLTAGE, 0.01)
                    for i in range(sent, due)
                ],
            )
        sent = due


def _memory(devtools: Any, server: subprocess.Popen[str]) -> tuple[float, float]:
    """The browser's heap after collection, and the server's resident memory, MB."""
    heaps = []
    for _ in range(4):  # a drawing that is going on holds what it replaces
        devtools.send("HeapProfiler.collectGarbage")
        heaps.append(devtools.send("Runtime.getHeapUsage")["usedSize"])
    return min(heaps) / 1e6, psutil.Process(server.pid).memory_info().rss / 1e6


def main() -> int:
    """Run what was asked for."""
    seconds = [float(word) for word in sys.argv[1:] if word != "--hour"]
    if "--hour" in sys.argv:
        return int(show(hour(*(seconds or [120.0]))) > 0)
    return int(show(rows(*seconds)) > 0)


if __name__ == "__main__":
    sys.exit(main())
