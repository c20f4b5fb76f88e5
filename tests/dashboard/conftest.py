"""A tab of the browser, and the page served over a folder of sessions as its command serves it."""

from __future__ import annotations

import contextlib
import itertools
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

import meterlog_dashboard
from meterlog.job.job_file import create_job
from meterlog.reading import Quantity
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.conftest import PluggedMeter

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page, Route

PACKAGE = Path(meterlog_dashboard.__file__).parent
RECORDINGS = Path(__file__).parents[2] / "recordings"

Ask = Callable[..., tuple[int, dict[str, Any]]]


def asking(folder: Path, kind: str) -> Ask:
    """Ask the page's server to do something to a session or a job of a folder; status and answer."""
    client = build(folder, Access(LOOPBACK, 80, None, print)).server.test_client()

    def act(name: str, what: str, typed: object = "") -> tuple[int, dict[str, Any]]:
        answer = client.post(f"/{kind}/{name}/{what}", json={"name": typed}, base_url="http://127.0.0.1")
        return answer.status_code, answer.get_json()

    return act


@pytest.fixture(scope="module")
def sessions_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the sample sessions and some jobs, to be written in."""
    folder = tmp_path_factory.mktemp("town") / "workshop"  # beside it nothing of another test
    folder.mkdir()
    for path in RECORDINGS.glob("*.sqlite"):
        shutil.copy(path, folder / path.name)
    for vehicle, complaint in (("blue van", "cranks, does not start"), ("red van", "dies"), ("truck", "not charging")):
        create_job(
            folder / vehicle.replace(" ", "-"),
            complaint=complaint,
            vehicle=vehicle,
            meters=(),
            tool="meter",
            details={},
        )
    return folder


@pytest.fixture(scope="module")
def page_address(sessions_folder: Path) -> Iterator[str]:
    """Find where `meterlog page` serves the folder."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    command = [sys.executable, "-m", "meterlog", "page", "--port", str(port), str(sessions_folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout is not None
            assert "page is at" in process.stdout.readline()
            yield f"http://127.0.0.1:{port}"
        finally:
            process.terminate()


def console_errors(page: Page) -> list[str]:
    """Collect the errors on a page's console from now on."""
    errors: list[str] = []
    page.on("console", lambda said: errors.append(said.text) if said.type == "error" else None)
    page.on("pageerror", lambda error: errors.append(str(error)))
    return errors


@pytest.fixture
def tab(browser: Browser) -> Iterator[Page]:
    """A browser's tab in which an error on the console fails the test."""
    context = browser.new_context(viewport={"width": 1280, "height": 900}, accept_downloads=True)
    page = context.new_page()
    page.set_default_timeout(60_000)
    errors = console_errors(page)
    yield page
    context.close()
    assert errors == []


def offer_modules(page: Page) -> None:
    """Let a test import the browser's modules as they lie on the disk, below `/modules/`; the page has them joined."""

    def answer(route: Route) -> None:
        name = route.request.url.partition("/modules/")[2]
        route.fulfill(path=PACKAGE / name, content_type="text/javascript")

    page.route("**/modules/**", answer)


class Showing:
    """A meter on a real port that shows a value ten times a second, every other time with the jitter added."""

    def __init__(self, meter: PluggedMeter) -> None:
        self.meter, self.value, self.jitter, self.quantity = meter, 0.0, 0.0, Quantity.DC_VOLTAGE
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        extra = itertools.cycle((0.0, 1.0))
        while not self._ended.wait(0.1):
            with contextlib.suppress(OSError):  # unplugged
                self.meter.show(self.value + self.jitter * next(extra), self.quantity)

    def end(self) -> None:
        self._ended.set()
        self._thread.join()


@pytest.fixture
def showing(meter: PluggedMeter) -> Iterator[Showing]:
    found = Showing(meter)
    yield found
    found.end()
