"""Checks that the live page shows and sounds what is so now when it begins, and that nothing from before hides it."""

from __future__ import annotations

import re
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from meterlog.session import open_reader
from meterlog_dashboard.record.recorder_process import Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.conftest import Showing

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

PHONE: Any = {"width": 390, "height": 844}
LAPTOP: Any = {"width": 1280, "height": 900}
REACHABLE = """(node) => { const box = node.getBoundingClientRect();
  return box.top >= 0 && box.bottom <= innerHeight && box.height >= 47.5 && box.width >= 47.5; }"""
LISTENING = """
localStorage.setItem("meterlog-cautions-read", '["dc_voltage"]');
window.called = [];
Object.defineProperty(navigator, "vibrate", { value: (pattern) => { window.called.push(pattern); return true; } });
Object.defineProperty(navigator, "wakeLock", { value: { request: async () => {
  window.kept = (window.kept || 0) + 1; return { released: false, release() { this.released = true; } }; } } });
"""
"""Stands in for what a phone has, and keeps how it was called."""
TROUBLE = [400, 100, 400]


@pytest.fixture
def live(tmp_path: Path, showing: Showing, browser: Browser) -> Iterator[Page]:
    """The live page of a running recording, on a phone; the supply is on at 12.1 V from the first reading."""
    showing.value = 12.1
    meterlog = [sys.executable, "-m", "meterlog"]
    record = [*meterlog, "record", "--quiet", "--out", str(tmp_path / "van.sqlite")]
    with (
        subprocess.Popen(
            [*record, "--meter", f"status14:{showing.meter.port}?label=pump+feed"], stdout=subprocess.DEVNULL
        ) as recorder,
        subprocess.Popen(
            [*meterlog, "page", "--port", "0", str(tmp_path)], stdout=subprocess.PIPE, text=True
        ) as server,
    ):
        assert server.stdout is not None
        address = server.stdout.readline().split()[4].rstrip("/")
        page = browser.new_page(viewport=PHONE)
        page.set_default_timeout(30_000)
        page.add_init_script(LISTENING)
        while not Recorders(SessionFolder(tmp_path)).running():
            time.sleep(0.05)
        page.goto(f"{address}/record/van.sqlite")
        page.locator("#band").get_by_text("12.10 V").wait_for()
        yield page
        page.close()
        server.terminate()
        recorder.kill()


def band(page: Page, words: str) -> None:
    page.wait_for_function("(words) => document.getElementById('band').textContent.match(words)", arg=words, polling=30)


def test_a_lost_supply_is_shown_and_sounded_as_it_begins_and_stays_shown(live: Page, showing: Showing) -> None:
    band(live, "pump feed: on at ?12.10 V")
    assert live.evaluate("called") == []
    showing.value = -0.01
    band(live, "pump feed: OFF")
    assert live.locator("#band").get_attribute("class") == "band trouble"
    live.wait_for_function("() => called.length")
    band(live, r"pump feed: OFF for 2 s ?-0.01 V; it stood at 12.10 V")
    assert live.evaluate("called") == [TROUBLE], "once for one state"
    assert live.locator("#begun").inner_text() == "pump feed OFF"
    showing.value = 12.1
    band(live, "pump feed: on at")
    live.locator("#unseen").get_by_text("1 not seen: dropout on pump feed").wait_for()
    assert live.evaluate("called.filter((one) => one.length === 3)") == [TROUBLE], "it rang at its beginning"
    showing.value = 0.0
    band(live, "pump feed: OFF for 1 s")
    live.get_by_role("button", name="Seen").click()
    band(live, "pump feed: OFF")  # what was seen hides nothing
    assert live.locator("#unseen").is_hidden()


def test_old_trouble_does_not_hide_a_dead_meter(live: Page, showing: Showing) -> None:
    showing.value = 0.0
    band(live, "OFF for 1 s")
    showing.value = 12.1
    live.locator("#unseen").get_by_text("dropout on pump feed").wait_for()
    showing.meter.unplug()
    live.locator("#link-now.lost").get_by_text(re.compile("pump feed: no link for [2-9] s")).wait_for()
    band(live, "not known")
    assert live.locator("#unseen").is_visible()
    assert live.evaluate("called.at(-1)") == [200, 100, 200]


def test_markers_pressed_without_a_line_come_later_with_their_own_times(live: Page, tmp_path: Path) -> None:
    live.context.set_offline(True)
    live.locator("#link-now.lost").get_by_text("cannot reach the computer").wait_for()
    band(live, "not known")
    pressed = []
    for name in ("key-on", "crank", "key-off"):
        live.get_by_role("button", name=name).click()
        pressed.append(time.monotonic())
        live.wait_for_selector(f'[data-mark="{name}"].ticked')
        time.sleep(1.0)
    live.locator("#live-said").get_by_text("waits for the line").wait_for()
    time.sleep(1.0)
    live.context.set_offline(False)
    live.locator("#live-said").get_by_text(re.compile(r"^Marker key-off at \d+:\d+\.\d$")).wait_for()
    (path,) = tmp_path.glob("*.sqlite")
    with open_reader(path) as reader:
        markers = [marker for marker in reader.markers if marker.by == "person"]
        start_s = reader.monotonic_start_s
    assert [marker.name for marker in markers] == ["key-on", "crank", "key-off"]
    assert [marker.time_s + start_s for marker in markers] == pytest.approx(pressed, abs=0.7)


def test_any_key_sets_the_marker_that_was_set_last(live: Page, tmp_path: Path) -> None:
    live.get_by_role("button", name="wiggle").click()
    live.evaluate("document.activeElement.blur()")
    for key in ("Space", "PageDown", "Tab", "Shift"):
        live.keyboard.press(key)
        live.evaluate("document.activeElement.blur()")
    live.fill("#mark-text", "a b")
    live.press("#mark-text", "Space")
    live.wait_for_timeout(500)
    (path,) = tmp_path.glob("*.sqlite")
    with open_reader(path) as reader:
        assert [marker.name for marker in reader.markers if marker.by == "person"] == ["wiggle"] * 3


def test_each_way_of_calling_has_a_switch_that_is_remembered(live: Page, showing: Showing) -> None:
    live.wait_for_function("() => window.kept > 0")
    live.get_by_role("button", name="Vibration: on").click()
    live.get_by_role("button", name="Screen stays on: on").click()
    live.reload()
    live.get_by_role("button", name="Vibration: off").wait_for()
    live.get_by_role("button", name="Screen stays on: off").wait_for()
    showing.value = 0.0
    band(live, "OFF for 1 s")
    assert live.evaluate("called") == []
    assert not live.evaluate("window.kept")


def test_markers_and_stop_are_under_the_thumb_and_value_and_strip_side_by_side(live: Page) -> None:
    for size in (PHONE, LAPTOP):
        live.set_viewport_size(size)
        live.wait_for_timeout(300)
        for name in ("key-on", "crank", "wiggle", "key-off", "Stop", "Set marker"):
            assert live.get_by_role("button", name=name).evaluate(REACHABLE), name
        assert live.evaluate("document.documentElement.scrollWidth <= innerWidth")
    value, strip = live.locator("#readouts").bounding_box(), live.locator("#strip-chart").bounding_box()
    assert value is not None
    assert strip is not None
    assert value["x"] + value["width"] <= strip["x"]
    assert strip["y"] + strip["height"] < LAPTOP["height"]
