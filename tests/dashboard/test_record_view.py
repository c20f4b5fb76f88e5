"""The live page in a real browser, with an emulated meter on a real port and a recorder in its own process."""

from __future__ import annotations

import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import flask
import numpy as np
import pytest
from playwright.sync_api import Browser, Page, expect

from meterlog.analysis import analyze
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.contents import Contents
from meterlog_dashboard.gate.access import LOOPBACK, Access, Lan
from meterlog_dashboard.gate.devices import Devices
from meterlog_dashboard.record.recorder_process import Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.conftest import console_errors

PATIENCE_MS = 30_000

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")


@pytest.fixture
def page(browser: Browser, serve: Callable[[], Served]) -> Iterator[Page]:  # noqa: ARG001
    """A page on which any error on the console fails the test; closed before its server is killed."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    errors = console_errors(page)
    yield page
    page.close()
    assert errors == []


class Served:
    """The page as a user starts it."""

    def __init__(self, folder: Path) -> None:
        command = [sys.executable, "-m", "meterlog", "page", "--port", "0", str(folder)]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self.process.stdout is not None
        self.address = self.process.stdout.readline().split()[4].rstrip("/")

    def kill(self) -> None:
        assert self.process.stdout is not None
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()


@pytest.fixture
def serve(tmp_path: Path) -> Iterator[Callable[[], Served]]:
    started: list[Served] = []

    def start() -> Served:
        started.append(Served(tmp_path))
        return started[-1]

    yield start
    for one in started:
        one.kill()
    recorders = Recorders(SessionFolder(tmp_path))
    for name in recorders.running():
        recorders.stop(name)


@pytest.fixture
def port() -> Iterator[str]:
    """An emulated meter at a van whose key is turned on now and then; twice as fast as usual."""
    command = [sys.executable, "-m", "meterlog", "emulate", "healthy-prime", "--interval", "0.1", "--speed", "2"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as emulator:
        assert emulator.stdout is not None
        yield emulator.stdout.readline().strip()
        emulator.terminate()


@contextmanager
def recording(path: Path, meter: str) -> Iterator[subprocess.Popen[bytes]]:
    """A recorder that somebody started in a terminal; it does not outlive a test that fails."""
    command = [sys.executable, "-m", "meterlog", "record", "--quiet", "--out", str(path), "--meter", meter]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL) as recorder:
        try:
            yield recorder
        finally:
            recorder.kill()


def press_stop(page: Page) -> None:
    """Press until it ends: twice, or more where this computer is so busy that the second press came late."""
    stop = page.locator("#stop")
    stop.click()
    expect(page.locator("#band")).not_to_contain_text("Ended")
    for _ in range(10):
        page.wait_for_timeout(600)
        if stop.is_disabled() or stop.inner_text() == "Stopping …":
            return
        stop.click()


def wait_ended(folder: Path, name: str) -> None:
    recorders, give_up = Recorders(SessionFolder(folder)), time.monotonic() + 60
    while recorders.running():
        assert time.monotonic() < give_up, f"{name} did not end"
        time.sleep(0.05)


def test_arm_on_the_page_see_the_prime_caught_mark_and_stop(
    page: Page, serve: Callable[[], Served], port: str, tmp_path: Path
) -> None:
    page.goto(f"{serve().address}/record")
    page.get_by_label("Meter: address").fill(f"status14:{port}")
    page.get_by_label("Name", exact=True).first.fill("pump feed")
    page.get_by_text("wait until it rises through").click()
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_role("heading", name="Before you measure")).to_be_visible()
    expect(page.get_by_text("Fuel vapour burns")).to_be_visible()
    page.get_by_role("button", name="I have read this").click()
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#unseen")).to_contain_text("not seen: ")
    expect(page.locator("#band")).to_contain_text("pump feed: o")
    expect(page.locator(".readout output")).to_contain_text("V")
    expect(page.get_by_role("button", name="Sound: on")).to_be_visible()  # by the press on Start
    page.get_by_role("button", name="key-off").click()
    expect(page.locator("#live-said")).to_contain_text("Marker key-off at")
    expect(page.locator("#live-events")).to_contain_text("CAUGHT: prime pulse")
    assert page.evaluate("document.documentElement.scrollWidth") == 390
    press_stop(page)
    expect(page.locator("#band")).to_contain_text("Ended; everything is kept")
    (path,) = tmp_path.glob("*.sqlite")
    wait_ended(tmp_path, path.name)
    with open_reader(path) as reader:
        assert [channel.label for channel in reader.channels] == ["pump feed"]
        assert "key-off" in [marker.name for marker in reader.markers]
        assert "prime_pulse" in [event.kind for event in analyze(Contents.of(reader)).events]
    assert [file.name for file in tmp_path.iterdir()] == [path.name]


@pytest.fixture
def counting(plug_in: Callable[[], Any]) -> Iterator[Any]:
    """A meter whose display counts up by 0.01 V, some 20 times a second."""
    meter, stop = plug_in(), threading.Event()

    def count() -> None:
        shown = 0
        while not stop.wait(0.05):
            meter.show(shown / 100)
            shown += 1

    thread = threading.Thread(target=count)
    thread.start()
    yield meter
    stop.set()
    thread.join()


def counted(path: Path) -> list[int]:
    """Return what a session holds of such a meter."""
    with open_reader(path) as reader:
        return np.round(reader.series(1).value * 100).astype(int).tolist()  # type: ignore[no-any-return]


def fill_form(page: Page, address: str, meter: Any) -> None:
    page.goto(f"{address}/record")
    page.get_by_label("Meter: address").fill(f"status14:{meter.port}")
    page.get_by_label("Name", exact=True).first.fill("feed")


def test_a_marker_on_the_page_opens_the_window_of_an_armed_capture(
    page: Page, serve: Callable[[], Served], counting: Any, tmp_path: Path
) -> None:
    page.add_init_script("localStorage.setItem('meterlog-cautions-read', '[\"dc_voltage\"]')")
    fill_form(page, serve().address, counting)
    page.get_by_text("wait until it rises through").click()
    page.get_by_label("Level, in V, A, ohm, ...").fill("900")
    page.get_by_label("Keep before it, s").fill("1")
    page.get_by_label("Keep after it, s").fill("1")
    page.get_by_role("button", name="Start").click()
    expect(page.locator("#band")).to_contain_text("Armed")
    expect(page.locator(".readout")).to_contain_text("· 0 readings")
    expect(page.locator(".readout output")).to_contain_text("V")
    expect(page.locator("#live-take")).to_be_hidden()
    page.get_by_role("button", name="key-on").click()
    expect(page.locator("#live-said")).to_contain_text("Marker key-on at")
    expect(page.locator(".readout")).not_to_contain_text("· 0 readings")
    expect(page.locator("#band")).to_contain_text("Armed")  # again: the window is over
    with page.expect_download() as taken:
        page.get_by_role("link", name="Report").click()
    assert b"still running" in Path(taken.value.path()).read_bytes()
    press_stop(page)
    expect(page.locator("#band")).to_contain_text("everything is kept")
    (path,) = tmp_path.glob("*.sqlite")
    wait_ended(tmp_path, path.name)
    with open_reader(path) as reader:
        time_s = reader.series(1).time_s
        (marked_s,) = [marker.time_s for marker in reader.markers if marker.name == "key-on"]
        assert "triggered" not in [marker.name for marker in reader.markers]
    assert marked_s - 1.01 < time_s[0] < marked_s < time_s[-1] < marked_s + 1.01
    assert np.diff(counted(path)).tolist() == [1] * (len(time_s) - 1)
    for link, begin in (("Report", b"<!doctype html>"), ("CSV", b"time_s,"), ("Parquet", b"PAR1")):
        with page.expect_download() as taken:
            page.get_by_role("link", name=link, exact=True).click()
        assert Path(taken.value.path()).read_bytes().lower().startswith(begin.lower())


def test_the_server_begins_nothing_before_the_cautions_were_read(
    page: Page, serve: Callable[[], Served], counting: Any, tmp_path: Path
) -> None:
    fill_form(page, serve().address, counting)
    page.evaluate("dash_clientside.set_props('start', { n_clicks: 1 })")  # past what holds the button back
    expect(page.locator("#start-error")).to_have_text(
        "the cautions for DC voltage were not read: read them, then press 'I have read this'"
    )
    assert list(tmp_path.glob("*.sqlite*")) == []
    page.get_by_role("button", name="I have read this").click()
    page.get_by_text("resistance", exact=True).click()
    page.evaluate("dash_clientside.set_props('start', { n_clicks: 2 })")
    expect(page.locator("#start-error")).to_contain_text("the cautions for resistance were not read")
    assert list(tmp_path.glob("*.sqlite*")) == []
    page.get_by_text("DC voltage", exact=True).click()
    page.get_by_role("button", name="Start").click()
    expect(page.locator(".readout output")).to_contain_text("V")
    assert len(list(tmp_path.glob("*.sqlite"))) == 1


def test_two_pages_at_once_show_and_do_the_same_and_neither_needs_the_other(
    page: Page, browser: Browser, serve: Callable[[], Served], tmp_path: Path
) -> None:
    def read(*volts: float) -> None:
        begin_s = writer.monotonic_start_s + 0.1 * len(sent)
        readings = [Reading(begin_s + 0.1 * i, v, Quantity.DC_VOLTAGE, 0.01) for i, v in enumerate(volts)]
        writer.append(channel, readings)
        sent.extend(volts)

    sent: list[float] = []
    with SessionWriter.create(tmp_path / "both.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE, interval_s=0.1)
        read(*[0.0] * 30)
        address = f"{serve().address}/record/both.sqlite"
        other = browser.new_page()
        for one in (page, other):
            one.set_default_timeout(PATIENCE_MS)
            one.goto(address)
            expect(one.locator(".readout")).to_contain_text("0.00 V")
            expect(one.locator(".readout")).to_contain_text("· 30 readings")
        page.get_by_role("button", name="wiggle").click()
        for one in (page, other):
            expect(one.locator("#strip-chart .annotation-text", has_text="wiggle")).to_have_count(1)
        read(*[12.0] * 20, *[0.0] * 60)
        for one in (page, other):
            expect(one.locator("#unseen")).to_contain_text("1 not seen: prime pulse on feed")
            expect(one.locator("#live-events li")).to_have_count(1)
        page.get_by_role("button", name="Seen").click()
        page.get_by_role("button", name="Sound: on").click()
        expect(page.get_by_role("button", name="Sound: off")).to_be_visible()
        expect(page.locator("#unseen")).to_be_hidden()
        expect(other.locator("#unseen")).to_contain_text("prime pulse")
        other.close()
        read(*[0.01] * 40)
        expect(page.locator(".readout")).to_contain_text(f"· {len(sent)} readings")
        expect(page.locator(".readout")).to_contain_text("0.01 V")
    expect(page.locator("#band")).to_contain_text("everything is kept")
    with open_reader(tmp_path / "both.sqlite") as reader:
        assert reader.series(1).value.tolist() == sent
        assert [marker.name for marker in reader.markers] == ["wiggle"]


def test_a_meter_that_is_not_there_is_said_in_one_sentence(page: Page, serve: Callable[[], Served]) -> None:
    page.goto(f"{serve().address}/record")
    page.evaluate("localStorage.setItem('meterlog-cautions-read', '[\"dc_voltage\"]')")
    page.get_by_label("Meter: address").fill("status14:/dev/no-such-port")
    page.get_by_role("button", name="Start").click()
    expect(page.get_by_role("alert").filter(has_text="/dev/no-such-port")).to_be_visible()


def test_page_and_server_killed_in_mid_capture_lose_nothing(
    page: Page, browser: Browser, serve: Callable[[], Served], counting: Any, tmp_path: Path
) -> None:
    name = "by-hand.sqlite"
    first = serve()
    with recording(tmp_path / name, f"status14:{counting.port}") as recorder:
        while not Recorders(SessionFolder(tmp_path)).running():
            assert recorder.poll() is None
            time.sleep(0.05)
        lost = browser.new_page()
        lost.goto(f"{first.address}/record/{name}")
        expect(lost.locator(".readout output")).to_contain_text("V")
        first.kill()
        expect(lost.locator("#link-now")).to_contain_text("cannot reach the computer")
        expect(lost.locator("#band")).to_contain_text("not known")
        expect(lost.locator(".readout .link")).to_contain_text("NOT KNOWN")
        lost.close()
        page.goto(f"{serve().address}/record")
        page.get_by_role("link", name=f"Go to {name}").click()
        expect(page.locator("#live-state")).to_contain_text("recording")
        expect(page.locator(".readout output")).to_contain_text("V")
        press_stop(page)
        expect(page.locator("#band")).to_contain_text("everything is kept")
        assert recorder.wait(60) == 0
    kept = counted(tmp_path / name)
    assert len(kept) > 5
    assert np.diff(kept).tolist() == [1] * (len(kept) - 1)


def test_the_code_pairs_a_phone_in_a_real_browser(page: Page, tmp_path: Path) -> None:
    from waitress.server import create_server

    codes: list[str] = []
    app = flask.Flask("paired")
    app.config["CONTENT_SECURITY_POLICY"] = (
        "default-src 'self'; style-src 'unsafe-inline'; img-src data:; form-action 'self'"
    )
    app.add_url_rule("/", "start", lambda: '<link rel="icon" href="data:,">you are in')
    inner = app.wsgi_app

    def from_a_phone(environ: dict[str, Any], answer: Any) -> Any:
        return inner({**environ, "REMOTE_ADDR": "192.0.2.7"}, answer)

    server = create_server(from_a_phone, host="127.0.0.1", port=0)
    address = f"http://127.0.0.1:{server.effective_port}"
    lan = Lan(Devices(tmp_path), address, "AA:BB")
    Access(LOOPBACK, server.effective_port, lan, codes.append).guard(app)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    try:
        page.goto(f"{address}/")
        expect(page.get_by_role("heading", name="Pair this device")).to_be_visible()
        page.get_by_label("Code").fill(codes[0])
        page.get_by_role("button", name="Pair").click()
        expect(page.get_by_text("you are in")).to_be_visible()
        assert page.evaluate("document.cookie") == ""
    finally:
        server.close()
        thread.join(5)


def test_the_form_remembers_what_was_typed(page: Page, serve: Callable[[], Served]) -> None:
    page.goto(f"{serve().address}/record")
    box = page.get_by_role("button", name="Start").bounding_box()
    assert box is not None
    assert box["y"] + box["height"] <= 844, "Start is under the thumb, without scrolling"
    page.get_by_label("Name", exact=True).first.fill("pump feed")
    page.get_by_label("Vehicle").fill("blue van")
    page.get_by_role("button", name=re.compile("^Use sim:")).click()
    page.reload()
    expect(page.get_by_label("Name", exact=True).first).to_have_value("pump feed")
    expect(page.get_by_label("Vehicle")).to_have_value("blue van")
    expect(page.get_by_label("Meter: address")).to_have_value("sim:healthy-prime")
