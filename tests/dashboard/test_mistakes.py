"""Ten mistakes that happen beside a vehicle: none loses anything, and each says what is so.

The phone that sleeps for a minute and the line that is gone for 20 s last that long where METERLOG_LONG is set, and a
few seconds otherwise.
"""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import flask
import pytest

from meterlog.job.entering import begin_with
from meterlog.job.job_file import create_job, read_job
from meterlog.reading import Quantity
from meterlog.session import Marker, open_reader
from meterlog_dashboard.gate.access import TRIES, Access, Lan
from meterlog_dashboard.gate.devices import Devices
from meterlog_dashboard.record.recorder_process import Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.conftest import Showing
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

LONG = "METERLOG_LONG" in os.environ
GONE_S, ASLEEP_S = (20.0, 60.0) if LONG else (2.0, 3.0)
LONG_ON_S = 12.0
"""On for more than 10 s: then a failure is an event, and not a pulse's end."""
NAME = "van.sqlite"
METERLOG = [sys.executable, "-m", "meterlog"]
READ = """localStorage.setItem("meterlog-cautions-read", '["dc_voltage"]')"""
ASLEEP = """() => { const ask = window.fetch;
  window.fetch = (what, how) => how?.method === "POST" ? ask(what, how) : new Promise(() => {}); }"""
"""Lets a tab hear of nothing that others do, as one in the background; what is pressed in it is sent."""
PRESSED = ("key-on", "crank", "key-off")


class Stage:
    """A folder served at one port whose server can be killed and started again, and a recorder in it."""

    def __init__(self, folder: Path, showing: Showing) -> None:
        self.folder, self.path = folder, folder / NAME
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = int(probe.getsockname()[1])
        self.address = f"http://127.0.0.1:{self.port}"
        self.meter = f"status14:{showing.meter.port}?label=pump+feed"
        self._running: dict[str, subprocess.Popen[str]] = {}

    def serve(self) -> None:
        command = [*METERLOG, "page", "--port", str(self.port), str(self.folder)]
        server = self._running["server"] = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        server.stdout.readline()

    def record(self) -> None:
        command = [*METERLOG, "record", "--quiet", "--out", str(self.path), "--meter", self.meter]
        self._running["recorder"] = subprocess.Popen(command, stdout=subprocess.DEVNULL, text=True)
        until(lambda: bool(Recorders(SessionFolder(self.folder)).running()))

    def kill(self, what: str) -> None:
        process = self._running.pop(what)
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()

    def end(self) -> None:
        for what in list(self._running):
            self.kill(what)

    def markers(self) -> list[Marker]:
        """Return what a person set."""
        with open_reader(self.path) as reader:
            return [marker for marker in reader.markers if marker.by == "person"]


@pytest.fixture
def stage(tmp_path: Path, showing: Showing) -> Iterator[Stage]:
    """A supply that is on at 12.1 V, recorded and served."""
    showing.value = 12.1
    (tmp_path / "shop").mkdir()
    found = Stage(tmp_path / "shop", showing)
    found.serve()
    yield found
    found.end()


@pytest.fixture
def page(browser: Browser, stage: Stage) -> Iterator[Page]:
    """A phone's tab."""
    del stage  # ends after the tab
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(90_000)
    page.add_init_script(READ)
    yield page
    page.close()


@pytest.fixture
def live(page: Page, stage: Stage) -> Page:
    """Its live page."""
    stage.record()
    page.goto(f"{stage.address}/record/{NAME}")
    band(page, "12.10 V")
    return page


@pytest.fixture
def job(stage: Stage, page: Page) -> Path:
    """A job that asks for a voltage, on the page; its folder."""
    folder = stage.folder / "van"
    begin_with(
        create_job(folder, complaint="no start", vehicle="", meters=(stage.meter,), tool="meter", details={}),
        "pump-feed",
    )
    page.goto(f"{stage.address}/jobs/van")
    page.wait_for_selector("#job-card .next")
    return folder


def recorded_s(stage: Stage) -> float:
    """Return how long the recording is by now, s."""
    with open_reader(stage.path) as reader:
        return reader.duration_s


def band(page: Page, words: str) -> None:
    page.locator("#band").get_by_text(re.compile(words)).first.wait_for()


def press_three(page: Page) -> list[float]:
    """Set three markers by hand; when each was pressed, s of the monotonic clock."""
    pressed = []
    for name in PRESSED:
        page.get_by_role("button", name=name, exact=True).click()
        pressed.append(time.monotonic())
        page.locator("#live-said").get_by_text(re.compile(rf"^Marker {name} at .*, waits for the line$")).wait_for()
        time.sleep(0.3)
    return pressed


def came_with_their_times(stage: Stage, pressed: list[float]) -> None:
    until(lambda: len(stage.markers()) == len(PRESSED))
    with open_reader(stage.path) as reader:
        start_s = reader.monotonic_start_s
    assert [marker.name for marker in stage.markers()] == list(PRESSED)
    assert [marker.time_s + start_s for marker in stage.markers()] == pytest.approx(pressed, abs=2.0)


def test_the_line_is_gone_while_three_markers_are_pressed(live: Page, stage: Stage) -> None:
    live.context.set_offline(True)
    live.locator("#link-now.lost").get_by_text("cannot reach the computer").wait_for()
    pressed = press_three(live)
    time.sleep(GONE_S)
    live.context.set_offline(False)
    came_with_their_times(stage, pressed)
    band(live, "12.10 V")


def test_the_server_is_killed_and_the_page_loaded_again_while_three_markers_wait(live: Page, stage: Stage) -> None:
    stage.kill("server")
    live.locator("#link-now.lost").get_by_text("cannot reach the computer").wait_for()
    pressed = press_three(live)
    stage.serve()
    live.reload()
    came_with_their_times(stage, pressed)
    band(live, "12.10 V")


def test_the_phone_sleeps_while_the_supply_fails(live: Page, stage: Stage, showing: Showing) -> None:
    until(lambda: recorded_s(stage) > LONG_ON_S)
    devtools = live.context.new_cdp_session(live)
    devtools.send("Page.setWebLifecycleState", {"state": "frozen"})
    showing.value = 0.0
    time.sleep(ASLEEP_S)
    showing.value = 12.1
    time.sleep(2.0)
    devtools.send("Page.setWebLifecycleState", {"state": "active"})
    live.locator("#unseen").get_by_text(re.compile("not seen: .*pump feed")).wait_for()
    band(live, "12.10 V")
    slept_until_s = recorded_s(stage) - 1.0  # what is not saved yet is younger
    live.get_by_role("button", name="wiggle").click()
    until(lambda: [marker.name for marker in stage.markers()] == ["wiggle"])
    (marker,) = stage.markers()
    assert marker.time_s > slept_until_s, "at its press, not when the phone fell asleep"


def test_back_and_forward_on_the_live_page_end_nothing(live: Page, stage: Stage) -> None:
    live.get_by_role("button", name="crank", exact=True).click()
    until(lambda: len(stage.markers()) == 1)
    live.get_by_role("link", name="Jobs").click()
    live.wait_for_selector(".new-job")
    live.go_back()
    band(live, "12.10 V")
    live.go_back()
    live.go_forward()
    band(live, "12.10 V")
    assert len(stage.markers()) == 1
    assert Recorders(SessionFolder(stage.folder)).running() == [NAME]


def test_the_session_is_removed_while_it_is_recorded(live: Page, stage: Stage) -> None:
    stage.path.unlink()
    band(live, "Ended; no file is left")
    live.locator("#band-text").get_by_text(re.compile("removed|gone")).wait_for()
    assert live.locator("#stop").is_disabled()


def test_the_meter_is_unplugged_and_plugged_in_again(live: Page, showing: Showing) -> None:
    showing.meter.unplug()
    live.locator("#link-now.lost").get_by_text(re.compile("pump feed: no link for")).wait_for()
    band(live, "not known")
    showing.meter.plug()
    band(live, "12.10 V")
    live.locator("#link-now").get_by_text("link up").wait_for()


def test_the_meter_is_unplugged_while_a_job_waits_for_it(page: Page, job: Path, showing: Showing) -> None:
    showing.jitter = 3.0  # no steady reading
    page.get_by_role("button", name="Take it from the meter").click()
    page.locator("#job-value").get_by_text(re.compile(r"^\d+\.\d+ V$")).wait_for()
    showing.meter.unplug()
    page.locator("#job-value-said").get_by_text("Nothing comes from the meter").wait_for()
    showing.value, showing.jitter = 12.3, 0.0
    showing.meter.plug()
    page.locator("#job-known .steps").get_by_text("(from the meter)").wait_for()
    assert len(read_job(job).of("measured")) == 1


def test_the_dial_is_in_the_wrong_place(page: Page, job: Path, showing: Showing) -> None:
    showing.quantity, showing.value = Quantity.RESISTANCE, 5.0
    page.get_by_role("button", name="Take it from the meter").click()
    page.locator("#job-value-said").get_by_text(re.compile("dial|resistance", re.IGNORECASE)).wait_for()
    assert not read_job(job).of("measured")
    showing.quantity, showing.value = Quantity.DC_VOLTAGE, 12.3
    page.locator("#job-known .steps").get_by_text("(from the meter)").wait_for()
    (reading,) = read_job(job).of("measured")
    assert reading.values["value"] == pytest.approx(12.3)


def test_two_tabs_of_one_job_and_the_older_one_is_pressed(page: Page, job: Path) -> None:
    assert page.context.browser is not None
    other = page.context.browser.new_page()
    other.goto(page.url)
    other.wait_for_selector("#job-card .next")
    page.evaluate(ASLEEP)
    other.get_by_role("button", name="Cannot reach").click()
    until(lambda: len(read_job(job).of("skipped")) == 1)
    other.close()
    page.get_by_role("button", name="Cannot reach").click()
    page.locator("#job-said.wrong").get_by_text("moved on meanwhile").wait_for()
    assert len(read_job(job).of("skipped")) == 1


def test_a_wrong_code_five_times(page: Page, tmp_path: Path) -> None:
    from waitress.server import create_server

    app = flask.Flask("paired")
    app.config["CONTENT_SECURITY_POLICY"] = (
        "default-src 'self'; style-src 'unsafe-inline'; img-src data:; form-action 'self'"
    )
    app.add_url_rule("/", "start", lambda: '<link rel="icon" href="data:,">you are in')
    inner = app.wsgi_app
    codes: list[str] = []

    def from_a_phone(environ: Any, answer: Any) -> Any:
        return inner({**environ, "REMOTE_ADDR": "192.0.2.7"}, answer)

    server = create_server(from_a_phone, host="127.0.0.1", port=0)
    address = f"127.0.0.1:{server.effective_port}"
    lan = Lan(Devices(tmp_path), f"http://{address}", "AA:BB")
    access = Access(("127.0.0.1",), server.effective_port, lan, codes.append)
    access.guard(app)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        page.goto(f"http://{address}/")
        page.get_by_label("Name").fill("Ann's phone")
        for number in range(1, TRIES + 1):
            page.get_by_label("Code").fill("00000000")
            page.get_by_role("button", name="Pair").click()
            page.get_by_text("That is not the code").wait_for()
            left = f"{TRIES - number} more" if number < TRIES else "Wait a minute"
            page.get_by_role("alert").get_by_text(left).wait_for()
            assert page.get_by_label("Name").input_value() == "Ann's phone"
        page.get_by_label("Code").fill(codes[0])
        page.get_by_role("button", name="Pair").click()
        page.get_by_text("Too many wrong codes").wait_for()
        access._wrong.clear()  # as after a minute
        page.get_by_label("Code").fill(codes[0])
        page.get_by_role("button", name="Pair").click()
        page.get_by_text("you are in").wait_for()
        assert [device.name for device in lan.devices.all()] == ["Ann's phone"]
    finally:
        server.close()
        thread.join(5)
