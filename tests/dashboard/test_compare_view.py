"""Compare in a real browser."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

expect = pytest.importorskip("playwright.sync_api").expect
expect.set_options(timeout=60_000)


def test_known_good_against_suspect_then_nudged_by_hand(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/compare?good=key-on-good-1.sqlite&suspect=key-on-suspect.sqlite")
    tab.wait_for_selector("#compare-result .verdict.different")
    tab.wait_for_selector("#compare-result .js-line", state="attached")
    assert re.search(r"2\.\d+ V beyond", tab.inner_text("#compare-result"))
    level = tab.locator("tr", has_text="prime level").inner_text()
    assert "different" in level
    assert "±" in level
    tab.click("#nudge-later")
    tab.click("#nudge-later")
    expect(tab.locator("#compare-result")).to_contain_text("nudged by hand")
    expect(tab.locator("#nudge-said")).to_have_text("by hand +0.10 s")
    tab.click("#compare-good")
    tab.locator(".dash-dropdown-content label", has_text="key-on-good-2").click()
    expect(tab.locator("#compare-result")).to_contain_text("key-on-good-2")
    assert tab.inner_text("#nudge-said") == ""
    with tab.expect_download() as taken:
        tab.keyboard.press("Escape")
        tab.click("#compare-result a:text-is('Report')")
    assert taken.value.suggested_filename == "key-on-suspect.html"


def test_what_cannot_be_compared_is_a_sentence(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/compare?good=wiggle-feed-ohms.sqlite&suspect=key-on-suspect.sqlite")
    assert tab.locator("#compare-result [role=alert]").inner_text()


def test_before_and_after_are_called_so_and_can_be_chosen(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/compare?before=key-on-suspect.sqlite&after=key-on-good-1.sqlite")
    tab.wait_for_selector("#compare-result .verdict.different")
    said = tab.inner_text("#compare-result").replace("key-on-suspect", "").replace("key-on-good-1", "")
    assert "The session after differs from the session before" in said
    assert "known-good" not in said.lower()
    assert "suspect" not in said.lower()
    expect(tab.locator("#compare-good-label")).to_have_text("Before (one or more)")
    expect(tab.locator("#nudge-later")).to_have_text("Before later ▶")
    with tab.expect_download() as taken:
        tab.click("#compare-result a:text-is('Report')")
    assert "Before and after" in taken.value.path().read_text("utf-8")
    tab.click("#compare-sides label:has-text('Known-good and suspect')")
    expect(tab.locator("#compare-good-label")).to_have_text("Known-good (one or more)")
    expect(tab.locator("#compare-result")).to_contain_text("The suspect differs from the known-good")


def test_a_session_beside_itself_is_said_not_compared(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/compare?good=key-on-good-1.sqlite&suspect=key-on-good-1.sqlite")
    tab.get_by_text("key-on-good-1 stands on both sides").wait_for()
    assert tab.locator("#compare-result .verdict").count() == 0
