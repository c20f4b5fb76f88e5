"""Sessions and Review in a real browser, over sample sessions."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meterlog.drawing import drawing_library
from meterlog.session.reader import open_reader
from meterlog_dashboard.session_files.cache import SessionCache
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

expect = pytest.importorskip("playwright.sync_api").expect
expect.set_options(timeout=60_000)


def span_s(tab: Page) -> tuple[float, float]:
    """The stretch that the statistics tell of, s."""
    found = re.search(r"from ([\d.]+) to ([\d.]+) s", tab.locator("#review-statistics p").first.inner_text())
    assert found
    return float(found[1]), float(found[2])


def holds(shown_s: tuple[float, float], time_s: float) -> bool:
    return shown_s[0] < time_s < shown_s[1]


def wait_for_other_span(tab: Page, old: tuple[float, float]) -> tuple[float, float]:
    """The stretch after it changed."""
    words = f"from {old[0]:.2f} to {old[1]:.2f} s"
    expect(tab.locator("#review-statistics p").first).not_to_contain_text(words)
    return span_s(tab)


def test_search_then_review_then_the_events_one_by_one(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/sessions")
    expect(tab.locator("a.session")).to_have_count(15)
    tab.fill("#session-search", "van intermittent")
    expect(tab.locator("a.session")).to_have_count(1)
    tab.click("a.session")
    tab.wait_for_selector("[data-event]")
    for _ in range(3):
        tab.keyboard.press("n")
        tab.wait_for_timeout(50)
    expect(tab.locator("#event-said")).to_contain_text("Event 3 of 6: fell")
    until(lambda: holds(span_s(tab), 20.8) and span_s(tab)[1] < 30.0)
    tab.wait_for_selector("tr.chosen [data-event='3']")
    tab.click("[data-event='6']")
    until(lambda: holds(span_s(tab), 35.6))
    tab.keyboard.press("p")
    expect(tab.locator("#event-said")).to_contain_text("Event 5 of 6")


def test_the_browser_is_given_the_small_drawing_library(tab: Page, page_address: str) -> None:
    with tab.expect_response("**/plotly.min.js") as asked:
        tab.goto(f"{page_address}/sessions/crank-good.sqlite")
    assert asked.value.text() == drawing_library()
    tab.wait_for_selector(".js-line", state="attached")


def test_zoom_by_hand_and_by_button_and_back(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/sessions/drive-intermittent.sqlite")
    tab.wait_for_selector("[data-event]")
    tab.wait_for_selector("#detail .js-line", state="attached")
    whole = span_s(tab)
    box = tab.locator("#detail .nsewdrag").first.bounding_box()
    assert box is not None
    x, y = box["x"] + 0.25 * box["width"], box["y"] + 0.5 * box["height"]
    tab.keyboard.down("Shift")
    tab.mouse.move(x, y)
    tab.mouse.down()
    tab.mouse.move(x + 0.1 * box["width"], y, steps=4)
    tab.mouse.move(x + 0.25 * box["width"], y, steps=4)
    tab.mouse.up()
    tab.keyboard.up("Shift")
    dragged = wait_for_other_span(tab, whole)
    assert dragged[0] == pytest.approx(0.25 * 40.5, abs=1.5)
    assert dragged[1] - dragged[0] == pytest.approx(0.25 * 40.5, abs=1.5)
    tab.click("#move-later")
    later = wait_for_other_span(tab, dragged)
    assert later[0] == pytest.approx((dragged[0] + dragged[1]) / 2, abs=0.1)
    tab.click("#move-all")
    assert wait_for_other_span(tab, later) == whole


def test_a_marker_is_added_changed_and_removed(tab: Page, page_address: str, sessions_folder: Path) -> None:
    tab.goto(f"{page_address}/sessions/key-on-suspect.sqlite")
    tab.wait_for_selector("[data-event]")
    tab.fill("#marker-time", "4.5")
    tab.fill("#marker-name", "wiggle")
    tab.fill("#marker-note", "at the plug")
    tab.click("#marker-save")
    tab.wait_for_selector("#marker-list td:text-is('wiggle')")
    with open_reader(sessions_folder / "key-on-suspect.sqlite") as reader:
        assert ("wiggle", "at the plug", 4.5) in [(m.name, m.note, m.time_s) for m in reader.markers]
    tab.fill("#marker-note", "at the relay")
    tab.click("#marker-save")
    tab.wait_for_selector("#marker-list td:text-is('at the relay')")
    tab.click("#marker-remove")
    tab.wait_for_selector("#marker-list td:text-is('at the relay')", state="detached")
    tab.fill("#marker-time", "999")
    tab.click("#marker-save")
    expect(tab.locator("#marker-said")).to_contain_text("outside")
    with open_reader(sessions_folder / "key-on-suspect.sqlite") as reader:
        assert "wiggle" not in [m.name for m in reader.markers]


def test_one_press_takes_away_the_report_and_the_tables(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/sessions/key-on-suspect.sqlite")
    tab.wait_for_selector("[data-event]")
    for link, name, begin in (
        ("Report", "key-on-suspect.html", b"<!doctype html>"),
        ("CSV", "key-on-suspect.csv", b"time_s"),
        ("Parquet", "key-on-suspect.parquet", b"PAR1"),
    ):
        with tab.expect_download() as taken:
            tab.click(f"a.button:text-is('{link}')")
        assert taken.value.suggested_filename == name
        assert Path(taken.value.path()).read_bytes().lstrip(b"\xef\xbb\xbf")[:15].lower().startswith(begin.lower())


@pytest.mark.parametrize("path", ["/compare", "/circuit"])
def test_nothing_that_is_still_to_be_filled_is_wider_than_a_phone(tab: Page, page_address: str, path: str) -> None:
    tab.set_viewport_size({"width": 390, "height": 844})
    tab.goto(f"{page_address}{path}")
    tab.wait_for_selector("h1")
    tab.wait_for_timeout(400)
    assert tab.evaluate("document.documentElement.scrollWidth") <= 390


def test_a_file_that_is_no_session_is_a_sentence(tab: Page, page_address: str, sessions_folder: Path) -> None:
    (sessions_folder / "torn.sqlite").write_bytes(b"not a session at all" * 100)
    tab.goto(f"{page_address}/sessions/torn.sqlite")
    assert "torn.sqlite" in tab.locator(".error[role=alert]").inner_text()
    (sessions_folder / "torn.sqlite").unlink()
    beside = sessions_folder.parent / "secret.sqlite"
    beside.write_bytes((sessions_folder / "crank-good.sqlite").read_bytes())
    for name in ("..%2Fsecret.sqlite", "%2e%2e%2fsecret.sqlite", "..%5Csecret.sqlite"):
        answer = tab.request.get(f"{page_address}/files/{name}/csv")
        assert "text/csv" not in answer.headers["content-type"]
    assert tab.request.get(f"{page_address}/files/key-on-suspect.sqlite/exe").status == 404


def test_the_cache_reads_a_session_again_only_when_it_changed(sessions_folder: Path) -> None:
    from meterlog.session.markers import add_marker

    opened = SessionCache(SessionFolder(sessions_folder))
    first = opened.loaded("crank-good.sqlite")
    assert opened.loaded("crank-good.sqlite") is first
    add_marker(sessions_folder / "crank-good.sqlite", "wiggle", time_s=1.0)
    assert len(opened.loaded("crank-good.sqlite").markers) == len(first.markers) + 1
