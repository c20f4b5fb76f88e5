"""A page that does only the same plot: what the browser, the drawing library and one answer cost by themselves."""

from __future__ import annotations

import functools
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog.drawing.script import drawing_library

if TYPE_CHECKING:
    from playwright.sync_api import Page

_FIGURE = """() => {
  const plot = document.querySelector("#detail .js-plotly-plot");
  const plain = (key, value) => (ArrayBuffer.isView(value) ? Array.from(value) : value);
  return JSON.stringify({ data: plot.data, layout: plot.layout }, plain);
}"""
_PAGE = """<!doctype html><meta charset="utf-8"><script src="library.js"></script>
<button>draw</button><div id="detail" style="width: 1200px"></div>
<script>
const draw = async (name) => {
  const { data, layout } = await (await fetch(name, { cache: "no-store" })).json();
  await Plotly.react("detail", data, layout);
};
document.querySelector("button").onclick = () => draw("0.json");
</script>"""
_REDRAW = """(name) => new Promise((done) => {
  const begun = performance.now();
  draw(name).then(() => requestAnimationFrame(() => done(performance.now() - begun)));
})"""


class _Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *_: Any) -> None:
        pass


def figure_of(page: Page) -> str:
    """Return the figure that Review shows, as JSON."""
    return str(page.evaluate(_FIGURE))


@contextmanager
def only_plot(folder: Path, figures: list[str]) -> Iterator[str]:
    """Serve the page over some figures; its address."""
    (folder / "index.html").write_text(_PAGE)
    (folder / "library.js").write_text(drawing_library())
    for number, figure in enumerate(figures):
        (folder / f"{number}.json").write_text(figure)
    server = ThreadingHTTPServer(("127.0.0.1", 0), functools.partial(_Quiet, directory=str(folder)))
    thread = threading.Thread(target=server.serve_forever)
    thread.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def first_drawn_s(page: Page, address: str) -> float:
    """Time from the press to the drawn line, s."""
    page.goto(address)
    page.wait_for_timeout(1000)
    begun = time.perf_counter()
    page.click("button")
    page.wait_for_selector("#detail .js-line", state="attached")
    return time.perf_counter() - begun


def redrawn_ms(page: Page, number: int) -> float:
    """Time from asking for another figure to the frame that shows it, ms."""
    took = float(page.evaluate(_REDRAW, f"{number}.json"))
    page.wait_for_timeout(200)
    return took
