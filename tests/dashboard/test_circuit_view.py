"""Circuit in a real browser."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.error import HTTPError
from urllib.request import urlopen

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
    assert "Before you do that" in tab.locator("#circuit-suggestion .caution").first.inner_text()
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
    expect(tab.locator("#reading-said")).to_contain_text("is not a number")
    tab.click("#reading-live")
    expect(tab.locator("#reading-said")).to_contain_text("no meter is being recorded")


def test_one_press_takes_away_the_report_of_the_case_with_what_was_entered(tab: Page, page_address: str) -> None:
    tab.goto(f"{page_address}/circuit")
    expect(tab.locator("#reading-quantity")).to_contain_text("voltage")
    for session in ("", "drop-test-bad-ground.sqlite"):
        if session:
            tab.goto(f"{page_address}/circuit?session={session}")
            expect(tab.locator("#circuit-take a")).to_have_attribute("href", re.compile(session))
            expect(tab.locator("#reading-quantity")).to_contain_text("voltage")
        tab.fill("#reading-value", "3.17")
        tab.click("#reading-add")
        expect(tab.locator("#circuit-take a")).to_have_attribute("href", re.compile(r"3\.17"))
        with tab.expect_download() as taken:
            tab.get_by_role("link", name="Report").click()
        assert taken.value.suggested_filename == "circuit-pump-feed.html"
        report = Path(taken.value.path()).read_text("utf-8")
        assert "3.17 V" in report
        assert ("drop-test-bad-ground" in report) == bool(session)


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        ("circuit=nothing", "there is no circuit 'nothing' here"),
        ("circuit=../secret.toml", "there is no circuit"),
        ("circuit=pump-feed&session=..%2Fsecret.sqlite", "there is no session"),
        ("circuit=pump-feed&rows=oops", "are not valid"),
        ("circuit=pump-feed&rows=[1]", "are not valid"),
        ("circuit=pump-feed&rows=[{}]", "quantity"),
    ],
)
def test_a_report_that_cannot_be_made_is_a_sentence(page_address: str, asked: str, said: str) -> None:
    with pytest.raises(HTTPError) as refused:
        urlopen(f"{page_address}/files/circuit.html?{asked}")
    assert refused.value.code == 404
    assert said in refused.value.read().decode()
