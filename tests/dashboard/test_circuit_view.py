"""Circuit in a real browser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Page

expect = pytest.importorskip("playwright.sync_api").expect
expect.set_options(timeout=60_000)


def test_the_suggested_reading_is_entered_and_the_chain_says_what_it_means(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/circuit?session=drop-test-bad-ground.sqlite")
    tab.wait_for_selector(".chain .likely")
    assert "ground" in tab.inner_text(".chain .likely")
    assert "3.25 V" in tab.inner_text(".chain")
    assert "Mind" in tab.inner_text("#circuit-suggestion .caution")
    suggested = tab.inner_text("#circuit-suggestion .next")
    expect(tab.locator("#reading-quantity")).to_contain_text("voltage")
    tab.fill("#reading-value", "3.1")
    tab.click("#reading-add")
    tab.wait_for_selector(".chain [data-place]")
    assert "3.1 V" in tab.inner_text(".chain")
    assert tab.inner_text("#circuit-suggestion") != suggested
    tab.click(".chain [data-place]")
    tab.wait_for_selector(".chain [data-place]", state="detached")
    assert tab.inner_text("#circuit-suggestion .next") == suggested


def test_wrong_words_and_an_absent_meter_are_sentences(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/circuit?circuit=lamp")
    tab.wait_for_selector(".chain .part")
    expect(tab.locator("#reading-quantity")).to_contain_text("voltage")
    tab.fill("#reading-value", "plenty")
    tab.click("#reading-add")
    expect(tab.locator("#reading-said")).to_contain_text("is no number")
    tab.click("#reading-live")
    expect(tab.locator("#reading-said")).to_contain_text("no meter is being recorded")
