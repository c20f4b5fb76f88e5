"""Review under the hand: drag, wheel, keys, cursors; and an address that shows the same again."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import pytest

from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Page

expect = pytest.importorskip("playwright.sync_api").expect

DRIVE = "/sessions/drive-intermittent.sqlite"


def span(tab: Page) -> list[float]:
    found: list[float] = tab.evaluate("dash_component_api.getLayout('review-span').props.data.span")
    return found


def length_of(shown: list[float]) -> float:
    return shown[1] - shown[0]


def other_span(tab: Page, old: list[float]) -> list[float]:
    tab.wait_for_function(
        "(old) => String(dash_component_api.getLayout('review-span').props.data.span) !== String(old)", arg=old
    )
    return span(tab)


def opened(tab: Page, address: str) -> dict[str, float]:
    """Open a Review; where its curves are on the screen."""
    tab.goto(address)
    tab.wait_for_selector("[data-event]")
    tab.wait_for_selector("#detail .js-line", state="attached")
    box = tab.locator("#detail .nsewdrag").first.bounding_box()
    assert box is not None
    return {key: box[key] for key in ("x", "y", "width", "height")}


def test_every_gesture_and_key_moves_the_curves_and_the_address_keeps_it(tab: Page, page_address: str) -> None:
    box = opened(tab, page_address + DRIVE)
    whole, y = span(tab), box["y"] + 0.4 * box["height"]
    x = [box["x"] + share * box["width"] for share in (0.25, 0.5, 0.75)]
    tab.mouse.move(x[1], y)
    tab.mouse.wheel(0, -500)
    closer = other_span(tab, whole)
    assert closer[1] - closer[0] < 0.6 * (whole[1] - whole[0])
    assert sum(closer) / 2 == pytest.approx(sum(whole) / 2, abs=0.2)
    tab.mouse.down()
    tab.mouse.move(x[0], y, steps=4)
    tab.mouse.up()
    length_s = closer[1] - closer[0]
    moved = pytest.approx([closer[0] + 0.25 * length_s, closer[1] + 0.25 * length_s], abs=0.1)
    until(lambda: span(tab) == moved)
    panned = span(tab)
    tab.mouse.dblclick(x[1], y)
    assert other_span(tab, panned) == whole
    tab.mouse.dblclick(x[1], y)
    assert other_span(tab, whole) == panned
    tab.keyboard.down("Shift")
    tab.mouse.move(x[0], y)
    tab.mouse.down()
    tab.mouse.move(x[2], y, steps=4)
    tab.mouse.up()
    tab.keyboard.up("Shift")
    half_s = pytest.approx(0.5 * length_s, abs=0.1)
    until(lambda: length_of(span(tab)) == half_s)
    drawn = span(tab)
    tab.keyboard.press("ArrowLeft")
    assert other_span(tab, drawn)[0] < drawn[0]
    tab.keyboard.press("n")
    tab.keyboard.press("f")
    tab.wait_for_url(re.compile(r"from=.*&to=.*&event=1&fit=1"))
    shown = span(tab)
    tab.reload()
    tab.wait_for_selector("tr.chosen [data-event='1']")
    assert span(tab) == pytest.approx(shown, abs=0.001)
    expect(tab.locator("#switch-fitted")).to_have_attribute("aria-pressed", "true")
    still = span(tab)
    tab.locator(".verdicts [data-event='6']").click()
    jumped = other_span(tab, still)
    assert jumped[0] < 35.6 < jumped[1]
    tab.go_back()
    assert other_span(tab, jumped) == pytest.approx(shown, abs=0.001)
    tab.get_by_role("link", name="Compare", exact=True).click()
    tab.get_by_role("heading", name="Compare").wait_for()
    tab.go_back()
    tab.wait_for_selector("tr.chosen [data-event='1']")
    assert span(tab) == pytest.approx(shown, abs=0.001)


def test_cursors_measure_between_them_by_hand_and_by_keys(tab: Page, page_address: str) -> None:
    box = opened(tab, f"{page_address}{DRIVE}?from=17.8&to=24.4&a=20&b=21.3")
    expect(tab.locator("#measured")).to_contain_text("B − A: 1.30 s")
    cells = tab.locator("#measured tbody td")
    expect(cells.nth(0)).to_have_text(re.compile(r"^13\.\d\d V$"))
    expect(cells.nth(1)).to_have_text(re.compile(r"^-?0\.0\d V$"))
    expect(cells.nth(2)).to_have_text(re.compile(r"^-13\.\d+ V ±0\.\d+$"))
    tab.locator("#cursor-b").focus()
    tab.keyboard.press("Shift+ArrowRight")
    expect(tab.locator("#measured")).to_contain_text("B − A: 1.63 s")
    handle = tab.locator("#cursor-a > span").bounding_box()
    assert handle is not None
    tab.mouse.move(handle["x"] + handle["width"] / 2, handle["y"] + 5)
    tab.mouse.down()
    tab.mouse.move(box["x"] + 0.25 * box["width"], handle["y"] + 5, steps=4)
    tab.mouse.up()
    expect(tab.locator("#measured")).to_contain_text("(19.45 s)")
    tab.wait_for_url(re.compile(r"a=19\.45"))
    tab.keyboard.press("m")
    expect(tab.locator("#measured")).to_have_text("")
    tab.wait_for_url(re.compile(r"to=24.4$"))


def test_times_from_the_start_are_remembered(tab: Page, page_address: str) -> None:
    def axis() -> Any:
        return tab.locator("#detail .xtitle").text_content()

    opened(tab, page_address + DRIVE)
    assert "time of day" in str(axis())
    tab.get_by_role("button", name="From the start").click()
    expect(tab.locator("#detail .xtitle")).to_have_text("from the start of the session")
    expect(tab.locator("#strip .xtick text").first).to_contain_text("00:00:00")
    tab.click("#move-closer")
    tab.reload()
    expect(tab.locator("#detail .xtitle")).to_have_text("from the start of the session")
    expect(tab.locator("#switch-times")).to_have_attribute("aria-pressed", "true")
    tab.keyboard.press("t")
    expect(tab.locator("#detail .xtitle")).to_contain_text("time of day")


def test_an_address_of_what_is_not_there_says_so(tab: Page, page_address: str) -> None:
    opened(tab, f"{page_address}{DRIVE}?from=900&to=1000")
    expect(tab.locator(".note")).to_contain_text("asks for a stretch that this session has not")


def pinched(page: Page, box: dict[str, float], shares: list[tuple[float, float]]) -> None:
    """Two fingers at shares of the width, one pair after the other."""
    devtools = page.context.new_cdp_session(page)
    y = box["y"] + 0.4 * box["height"]
    for place, pair in enumerate(shares):
        points = [{"x": box["x"] + share * box["width"], "y": y, "id": n} for n, share in enumerate(pair)]
        kind = "touchMove" if place else "touchStart"
        devtools.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    devtools.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})


def test_two_fingers_on_a_phone_zoom_where_they_are(browser: Any, page_address: str) -> None:
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    page = context.new_page()
    opened(page, page_address + DRIVE)
    page.locator("#detail").scroll_into_view_if_needed()
    box = page.locator("#detail .nsewdrag").first.bounding_box()
    whole = span(page)
    pinched(page, dict(box), [(0.45, 0.55), (0.4, 0.6), (0.35, 0.65), (0.3, 0.7)])
    page.wait_for_function(
        """(most) => { const [a, b] = dash_component_api.getLayout('review-span').props.data.span;
          return b - a < most; }""",
        arg=(whole[1] - whole[0]) / 3.6,
    )
    closer = span(page)
    assert closer[1] - closer[0] == pytest.approx((whole[1] - whole[0]) / 4, rel=0.1)
    assert sum(closer) / 2 == pytest.approx(sum(whole) / 2, abs=1.0)
    page.locator(".verdicts [data-event='3']").tap()
    page.wait_for_function(
        "() => document.querySelector('#detail-frame').getBoundingClientRect().top < innerHeight - 150"
    )
    context.close()
