"""Review in a real browser: the stretch that is shown, whatever is pressed how fast, and a session that grows."""

from __future__ import annotations

import random
import re
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from meterlog.reading import Quantity, Reading
from meterlog.session.reader import open_reader
from meterlog.session.writer import SessionWriter
from tests.dashboard.conftest import offer_modules

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Page, Route

expect = pytest.importorskip("playwright.sync_api").expect
expect.set_options(timeout=60_000)

DRIVE = "drive-intermittent.sqlite"
WHOLE = (-0.5, 100.5)


def told(tab: Page, part: str) -> Any:
    """Return what the page has decided, before any answer of the server."""
    return tab.evaluate("(part) => dash_component_api.getLayout(part).props.data", part)


def moves(tab: Page, function: str, *values: Any) -> list[float]:
    """Return what `review/stretch.js` works out."""
    script = f"async (values) => (await import('/modules/review/stretch.js')).{function}(...values)"
    offer_modules(tab)
    found: list[float] = tab.evaluate(script, list(values))
    return found


def expect_span(tab: Page, start_s: float, end_s: float) -> None:
    """Return what the statistics say, and the axis of the drawn plot."""
    last_s = min(end_s, told(tab, "review-length")["duration_s"])
    expect(tab.locator("#review-statistics p").first).to_contain_text(f"from {max(start_s, 0):.2f} to {last_s:.2f} s")
    tab.wait_for_function(
        """([start, end]) => {
          const axis = document.querySelector("#detail .js-plotly-plot")._fullLayout.xaxis;
          const begun = dash_component_api.getLayout("review-length").props.data.start_ms;
          const [from, to] = axis.range.map((at) => (axis.r2l(at) - begun) / 1000);
          return Math.abs(from - start) < 0.01 && Math.abs(to - end) < 0.01;
        }""",
        arg=[start_s, end_s],
    )


@pytest.fixture
def review(tab: Page, page_address: str) -> Page:
    """A sample session, analyzed and drawn."""
    tab.goto(f"{page_address}/sessions/{DRIVE}")
    tab.wait_for_selector("[data-event]")
    tab.wait_for_selector("#detail .js-line", state="attached")
    return tab


def test_presses_while_answers_are_on_their_way_all_count(review: Page) -> None:
    start_s, end_s = told(review, "review-length")["whole"]
    held: list[Route] = []
    holding = [True]
    review.route(
        re.compile("_dash-update-component"),
        lambda request: held.append(request) if holding[0] else request.continue_(),
    )
    for name, times in (("Closer", 3), ("Later", 2), ("Earlier", 1), ("Wider", 1)):
        button = review.get_by_role("button", name=name, exact=True)
        for _ in range(times):
            button.click()
    length_s, middle_s = (end_s - start_s) / 4, (start_s + end_s) / 2 + (end_s - start_s) / 16
    wanted = middle_s - length_s / 2, middle_s + length_s / 2
    assert told(review, "review-span")["span"] == pytest.approx(wanted)
    for _ in range(500):
        if held:
            break
        review.wait_for_timeout(20)
    assert held
    holding[0] = False
    for request in held:
        request.continue_()
    expect_span(review, *wanted)


def test_events_chosen_in_one_breath_all_count(review: Page) -> None:
    review.evaluate("for (let i = 0; i < 4; i += 1) document.getElementById('event-next').click();")
    expect(review.locator("#event-said")).to_contain_text("Event 4 of 6")
    review.keyboard.press("p")
    review.keyboard.press("p")
    expect(review.locator("#event-said")).to_contain_text("Event 2 of 6")
    review.wait_for_selector("tr.chosen [data-event='2']")
    span = told(review, "review-span")["span"]
    start_s, end_s = told(review, "event-times")[1]
    assert span[0] < start_s < end_s < span[1]
    expect_span(review, *span)


def test_no_button_leaves_the_session(review: Page) -> None:
    some = random.Random(7)
    for _ in range(100):
        duration_s = 10 ** some.uniform(-1, 6)
        whole = [-0.01 * duration_s, 1.01 * duration_s]
        ends = moves(review, "dragged", [some.uniform(*whole), some.uniform(*whole)])
        move = some.choice(["earlier", "later", "closer", "wider", "all"])
        start_s, end_s = moves(review, "moved", whole, moves(review, "clipped", whole, *ends), move)
        assert whole[0] - 1e-6 <= start_s < end_s <= whole[1] + 1e-6


def test_where_each_press_leads(review: Page) -> None:
    assert moves(review, "moved", WHOLE, [40, 60], "closer") == [45, 55]
    assert moves(review, "moved", WHOLE, [40, 60], "wider") == [30, 70]
    assert moves(review, "moved", WHOLE, [40, 60], "later") == [50, 70]
    assert moves(review, "moved", WHOLE, [90, 100], "later") == [90.5, 100.5]
    assert moves(review, "onEvent", WHOLE, WHOLE, [50.0, 50.5]) == [47.0, 53.5]
    assert moves(review, "onEvent", WHOLE, [45, 55], [50.0, 50.5]) == [45, 55]
    assert moves(review, "pressed", WHOLE, WHOLE, 50) == pytest.approx([44.95, 55.05])
    assert moves(review, "pressed", WHOLE, [0, 20], 50) == [40, 60]
    assert moves(review, "dragged", [7, 3]) == [3, 7]
    assert moves(review, "followed", [80, 101], 100, 110) == [90, 111]
    assert moves(review, "followed", [-1, 101], 100, 110) == [-1, 111]
    assert moves(review, "followed", [20, 40], 100, 110) == [20, 40]


def test_a_channel_that_is_not_judged_is_judged_once_a_person_says_what_it_is(
    tab: Page, page_address: str, sessions_folder: Path
) -> None:
    path = sessions_folder / "unnamed.sqlite"
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("x", Quantity.DC_VOLTAGE, interval_s=0.1, point="somewhere")
        values = [12.0] * 100 + [0.1] * 5 + [12.0] * 100
        times_s = [writer.monotonic_start_s + 0.1 * i for i in range(len(values))]
        readings = [Reading(at_s, v, Quantity.DC_VOLTAGE, 0.01) for at_s, v in zip(times_s, values, strict=True)]
        writer.append(channel, readings)
    tab.goto(f"{page_address}/sessions/unnamed.sqlite")
    expect(tab.locator("#role-list li")).to_contain_text("x at somewhere, DC voltage: not judged")
    expect(tab.locator("#review-findings")).to_contain_text("not judged, since nothing says what it measures")
    expect(tab.locator("#review-findings .finding .verdict.outside")).to_have_count(0)
    tab.get_by_role("button", name="x is: supply").click()
    expect(tab.locator("#role-list li")).to_contain_text("x at somewhere, DC voltage: supply (as entered)")
    expect(tab.locator("#review-findings .finding .verdict.outside")).to_be_visible()
    expect(tab.locator("#review-findings")).not_to_contain_text("not judged")
    with open_reader(path) as reader:
        assert reader.details == {"role 1": "supply"}
    path.unlink()


class Growing:
    """A session that is being recorded, 0.1 s between readings that count up."""

    def __init__(self, path: Path) -> None:
        self.writer = SessionWriter.create(path)
        self.channel = self.writer.add_channel("feed", Quantity.DC_VOLTAGE, interval_s=0.1)
        self.count = 0

    def read(self, count: int, volts: float = 12.0) -> None:
        """Readings that follow those before; their times run ahead of the clock."""
        times_s = [self.writer.monotonic_start_s + 0.1 * (self.count + i) for i in range(count)]
        self.writer.append(self.channel, [Reading(at_s, volts, Quantity.DC_VOLTAGE, 0.01) for at_s in times_s])
        self.writer.flush()
        self.count += count


@pytest.fixture
def growing(sessions_folder: Path) -> Iterator[Growing]:
    session = Growing(sessions_folder / "growing.sqlite")
    yield session
    session.writer.close()
    session.writer.path.unlink()


def wait_for_readings(tab: Page, plot: str, count: int) -> None:
    """Wait until a plot's trace holds so many readings: there are so few that none is left out of it."""
    tab.wait_for_function(
        "([id, count]) => (document.querySelector(`#${id} .js-plotly-plot`)?._fullData ?? [])[0]?.x.length === count",
        arg=[plot, count],
    )


def test_a_session_that_grows_is_followed_and_every_reading_can_be_reached(
    tab: Page, page_address: str, growing: Growing
) -> None:
    growing.read(100)
    tab.goto(f"{page_address}/sessions/growing.sqlite")
    expect(tab.locator("#review-state")).to_contain_text("It is being recorded")
    expect(tab.locator("#review-events")).to_contain_text("No events")
    wait_for_readings(tab, "detail", 100)
    growing.read(40)
    growing.read(10, volts=0.1)
    growing.read(50)
    wait_for_readings(tab, "detail", 200)
    expect_span(tab, -0.5, 10.4 + 10.0)
    wait_for_readings(tab, "strip", 200)
    expect(tab.locator("#review-statistics tbody td").first).to_have_text("200")
    tab.keyboard.press("n")
    expect(tab.locator("#event-said")).to_contain_text("Event 1 of 1")
    looked_at = told(tab, "review-span")["span"]
    assert looked_at[0] < 14.0 < 15.0 < looked_at[1] < 19.9
    growing.read(300)
    growing.writer.close()
    expect(tab.locator("#review-state")).to_have_text("")
    expect_span(tab, *looked_at)
    tab.click("#move-all")
    wait_for_readings(tab, "detail", 500)
    wait_for_readings(tab, "strip", 500)
    assert tab.evaluate("dash_component_api.getLayout('review-tick').props.disabled")


def test_what_was_entered_of_a_session_can_be_corrected(tab: Page, page_address: str, sessions_folder: Path) -> None:
    name = "corrected.sqlite"
    shutil.copy(sessions_folder / "key-on-suspect.sqlite", sessions_folder / name)
    tab.goto(f"{page_address}/sessions/{name}")
    tab.get_by_text("Correct what was entered").click()
    for label, text in (
        ("Vehicle", "red van"),
        ("Notes", "wet carpet"),
        ("Label", "feed"),
        ("Test point", "plug_feed"),
    ):
        tab.get_by_label(label, exact=True).fill(text)
    tab.get_by_role("button", name="Save the corrections").click()
    tab.locator("#texts-said").get_by_text("Saved.").wait_for()
    tab.get_by_role("heading", level=1).get_by_text("red van").wait_for()
    tab.locator("#role-list").get_by_text("feed at plug feed").wait_for()
    with open_reader(sessions_folder / name) as reader:
        assert (reader.details["vehicle"], reader.details["notes"]) == ("red van", "wet carpet")
        assert [(channel.label, channel.point) for channel in reader.channels] == [("feed", "plug_feed")]
    tab.get_by_label("Label", exact=True).fill(" ")
    tab.get_by_role("button", name="Save the corrections").click()
    tab.locator("#texts-said").get_by_text("a label wants a text").wait_for()
    with open_reader(sessions_folder / name) as reader:
        assert [channel.label for channel in reader.channels] == ["feed"]
    (sessions_folder / name).unlink()
