"""Walks the three uses and a whole job in a real browser: `python -m tests.bench.page.walk [FOLDER]`.

Caught: a capture is begun, marked and ended, and leads to its Review. Compared: a session is found, its finding leads
to its place, and it lies beside a known-good one. Diagnosed: a reading is entered for a circuit. The whole job goes
from the complaint to the report. Each is done on a phone (390 x 844) and on a laptop (1280 x 900) by presses.

At each step the control that the step is about is looked for where the page stands: no step may need scrolling to it,
and on a phone it is at least 48 px high. Told are the steps and where their controls stand; with FOLDER each step is
drawn, to be looked at. 1 where a control was out of view.
"""

from __future__ import annotations

import argparse
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from meterlog.circuit import load_circuit
from meterlog.circuit.readings.measurement import QUANTITY
from meterlog.job.job_file import read_job
from meterlog.job.status import status_of
from meterlog.reading import Quantity
from tests.bench.page.served import chromium, served
from tests.bench.results import printed
from tests.conftest import PluggedMeter
from tests.dashboard.conftest import RECORDINGS, Showing
from tests.dashboard.test_job_view import LAPTOP, LOOKS, PATIENCE_MS, PHONE, asked, begin, moved_on, typed, wanted
from tests.job.vehicle import Vehicle

if TYPE_CHECKING:
    from playwright.sync_api import Locator, Page

THUMB_PX = 47.5
"""The least height of a main control on a phone: 48 px, but for rounding."""
MOST_STEPS = 40
"""A job that asks for more than so many steps has lost its way."""
SUPPLY_V = 12.3
"""Shown by the meter while the supply is on, V."""
COVERED = """(node) => {
  const box = node.getBoundingClientRect();
  const there = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
  return !there || !(node.contains(there) || there.contains(node));
}"""
"""Says whether something else lies over the middle of a control."""
JOB_MAIN = "#job-act .main, #job-act .answers button"


@dataclass
class Walk:
    """One walk in one size.

    Attributes:
        page: the browser's tab.
        address: of the page.
        folder: the sessions and jobs.
        showing: the meter.
        pictures: where each step is drawn; nowhere where None.
        missed: the steps whose control was out of view or too small.
    """

    page: Page
    address: str
    folder: Path
    showing: Showing
    pictures: Path | None
    missed: list[str] = field(default_factory=list)
    steps: int = 0

    @property
    def phone(self) -> bool:
        return bool(self.page.viewport_size == PHONE)

    @property
    def meter(self) -> str:
        return f"status14:{self.showing.meter.port}"

    def step(self, name: str, control: str | Locator, *, pressed: bool = True) -> Locator:
        """Look where a step's main control is, and say so; the control.

        Args:
            name: what the step is about.
            control: where it is, or a selector of it.
            pressed: whether it is pressed, and not only read: it must be large then.
        """
        found = self.page.locator(control).first if isinstance(control, str) else control.first
        found.wait_for()
        self.page.wait_for_timeout(500)
        box, view = found.bounding_box(), self.page.viewport_size
        assert box is not None
        assert view is not None
        self.steps += 1
        top, bottom = box["y"], box["y"] + box["height"]
        large = box["height"] >= THUMB_PX or not (self.phone and pressed)
        well = large and top >= 0 and bottom <= view["height"] and not found.evaluate(COVERED)
        said = f"{view['width']:5} px  {name:44} {top:5.0f} to {bottom:5.0f} of {view['height']}"
        print(said + ("" if well else "  OUT OF VIEW"))
        if not well:
            self.missed.append(name)
        if self.pictures is not None:
            plain = re.sub(r"[^a-z]+", "-", name)
            self.page.screenshot(path=self.pictures / f"{view['width']}-{self.steps:02d}-{plain}.png")
        return found


def catch(walk: Walk) -> None:
    """Record a supply that comes and goes, mark it, end it, and go to its Review."""
    page, walk.showing.quantity, walk.showing.value = walk.page, Quantity.DC_VOLTAGE, 0.0
    page.goto(f"{walk.address}/record")
    page.get_by_label("Meter: address").fill(walk.meter)
    page.evaluate("scrollTo(0, 0)")
    start = walk.step("record: start", "#start")
    start.click()
    walk.step("record: the cautions are read", "#cautions-read").click()
    start.click()
    page.wait_for_selector(".readout output")
    walk.showing.value = SUPPLY_V
    page.locator("#band").get_by_text(f"{SUPPLY_V}").wait_for()
    walk.step("live: a marker", '[data-mark="key-on"]').click()
    walk.showing.value = 0.0
    page.locator("#band").get_by_text("OFF").wait_for()
    walk.step("live: trouble is seen", "#unseen-seen").click()
    stop = walk.step("live: stop", "#stop")
    stop.click()
    while not page.locator("#live.ended").count():
        page.wait_for_timeout(700)  # two presses this far apart are no tremble
        if stop.is_enabled():
            stop.click()
    walk.step("live: review what was recorded", page.get_by_role("link", name="Review this session")).click()
    page.wait_for_selector("#detail .js-line", state="attached")


def compare(walk: Walk) -> None:
    """Find a session, go from its finding to the place, and lay it beside a known-good one."""
    page = walk.page
    page.goto(f"{walk.address}/sessions")
    walk.step("sessions: search", "#session-search").fill("dies now")
    page.get_by_text(" of ").first.wait_for()
    walk.step("sessions: the newest that fits", "a.session").click()
    walk.step("review: a finding's place", "#review-findings [data-event]").click()
    walk.step("review: the next event", page.get_by_role("button", name="Event ▶")).click()
    page.goto(f"{walk.address}/compare?suspect=key-on-suspect.sqlite")
    walk.step("compare: the known-good", "#compare-good").click()
    page.locator(".dash-options-list-option", has_text="key-on-good-1").click()
    page.keyboard.press("Escape")
    walk.step("compare: the verdict", "#compare-result .verdict", pressed=False)


def diagnose(walk: Walk) -> None:
    """Enter the reading that a circuit asks for, and see what it makes of it."""
    page = walk.page
    page.goto(f"{walk.address}/circuit")
    page.wait_for_selector(".next")
    before = page.locator(".next").inner_text()
    walk.step("circuit: the reading", "#reading-value").fill("12.1")
    walk.step("circuit: enter it", "#reading-add").click()
    page.wait_for_function("(before) => document.querySelector('.next')?.textContent !== before", arg=before)
    page.evaluate("scrollTo(0, 0)")
    walk.step("circuit: what to measure next", ".next", pressed=False)


def whole_job(walk: Walk) -> None:
    """From the complaint to the report, by hand and from the meter; the fuse is blown."""
    page, address = walk.page, walk.address
    page.goto(f"{address}/")
    walk.step("jobs: a new job", ".new-job").click()
    walk.step("new job: begin", "#new-begin")
    folder = walk.folder / begin(page, address, vehicle="blue van", meter=walk.meter)
    vehicle, measured = Vehicle(load_circuit("pump-feed"), {"fuse": float("inf")}), 0
    for _ in range(MOST_STEPS):
        next_, before = wanted(folder), asked(page)
        walk.step(f"job: {next_['kind']}", JOB_MAIN)
        if next_["kind"] == "done":
            break
        measured += next_["kind"] == "measure"
        _do(walk, vehicle, next_, by_hand=bool(measured % 2) and not walk.phone)
        moved_on(page, before)
    now = status_of(read_job(folder))
    assert (now.state, now.job.repaired) == ("proved", "fuse")
    with page.expect_download() as download:
        page.get_by_role("link", name="Report").click()
    assert "blue van" in Path(download.value.path()).read_text("utf-8")


def _do(walk: Walk, vehicle: Vehicle, next_: dict[str, Any], *, by_hand: bool) -> None:
    page, kind = walk.page, next_["kind"]
    if kind == "look":
        page.locator(f'[data-answer="{LOOKS[next_["look"]["key"]]}"]').click()
    elif kind == "repair":
        vehicle.extra_ohm.clear()
        page.get_by_role("button", name=f"{next_['part']} is put right").click()
    elif kind == "try":
        page.locator(f'#job-act [data-value="{vehicle.came_of(next_["tried"])}"]').click()
    elif next_["quantity"] == "lamp" or by_hand:
        typed(page, vehicle, next_)
    else:
        _from_the_meter(walk, vehicle.read(next_), QUANTITY[next_["quantity"]])


def _from_the_meter(walk: Walk, text: str, quantity: Quantity) -> None:
    """Clip on and take it; the cautions are read where they are new."""
    walk.showing.quantity, walk.showing.value = quantity, float("inf") if text == "open" else float(text)
    take = walk.page.get_by_role("button", name="Take it from the meter")
    take.click()
    read = walk.page.locator("#cautions-read")
    if read.is_visible():
        walk.step("job: the cautions are read", read).click()
        take.click()
    walk.step("job: stop waiting", "#job-stop")


USES: tuple[Callable[[Walk], None], ...] = (catch, compare, diagnose, whole_job)


@contextmanager
def _showing(folder: Path) -> Iterator[Showing]:
    meter = PluggedMeter(folder / "meter")
    showing = Showing(meter)
    try:
        yield showing
    finally:
        showing.end()
        meter.unplug()


def main() -> int:
    """Walk all of it in both sizes; 1 where a control was out of view."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench.page.walk", description=(__doc__ or "").splitlines()[0]
    )
    parser.add_argument("folder", type=Path, nargs="?", help="where each step is drawn")
    pictures = parser.parse_args().folder
    if pictures is not None:
        pictures.mkdir(parents=True, exist_ok=True)
    steps, missed = 0, list[str]()
    with printed("The page walked: the three uses and a whole job"), chromium() as browser:
        for size in (PHONE, LAPTOP):
            with tempfile.TemporaryDirectory() as place:
                shop = Path(place, "shop")
                shop.mkdir()
                for path in RECORDINGS.glob("*.sqlite"):
                    shutil.copy(path, shop)
                with served(shop) as (address, _), _showing(Path(place)) as showing:
                    page = browser.new_page(viewport=size)
                    page.set_default_timeout(PATIENCE_MS)
                    walk = Walk(page, address, shop, showing, pictures)
                    for use in USES:
                        use(walk)
                    page.close()
                    steps, missed = steps + walk.steps, missed + walk.missed
        print(f"{steps} steps, {len(missed)} of them with their control out of view")
    return int(bool(missed))


if __name__ == "__main__":
    sys.exit(main())
