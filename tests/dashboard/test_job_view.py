"""A whole job in a real browser, on a phone and on a laptop, beside the terminal: the meter on a real port."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from meterlog.circuit import load_circuit
from meterlog.job.entering import begin_with, enter_repair, enter_value
from meterlog.job.entering import wanted as entering_wanted
from meterlog.job.job_file import add_step, create_job, read_job
from meterlog.job.status import status_of
from tests.conftest import PluggedMeter
from tests.dashboard.conftest import Showing, console_errors
from tests.dashboard.test_accessible import SMALL, pale, unnamed, walk
from tests.job.vehicle import Vehicle

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs pseudo-terminals")

LOOKS = {"prime_heard": "no", "fuel_at_rail": "no", "tachometer_moves": "yes", "engine_lamp_lit": "yes"}
LOOKS |= {"key_lamp_blinks": "no", "pump_fuse_feeds_more": "no"}
PHONE: Any = {"width": 390, "height": 844}
LAPTOP: Any = {"width": 1280, "height": 900}
PATIENCE_MS = 120_000
"""A dead supply is believed after 20 s, and a busy computer takes its time."""


@contextmanager
def served(folder: Path) -> Iterator[tuple[str, subprocess.Popen[str]]]:
    """The page over a folder, as its command serves it: its address and its process."""
    command = [sys.executable, "-m", "meterlog", "page", "--port", "0", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        try:
            yield server.stdout.readline().split()[4].rstrip("/"), server
        finally:
            server.terminate()


@pytest.fixture
def address(tmp_path: Path) -> Iterator[str]:
    """The page over an empty folder."""
    folder = tmp_path / "shop"
    folder.mkdir()
    with served(folder) as (found, _):
        yield found


@pytest.fixture
def page(browser: Browser, address: str, request: pytest.FixtureRequest) -> Iterator[Page]:
    """A tab in which an error on the console fails the test; closed before its server ends."""
    del address
    page = browser.new_page(viewport=getattr(request, "param", PHONE))
    page.set_default_timeout(30_000)
    errors = console_errors(page)
    yield page
    page.close()
    expected = (
        "400 (BAD REQUEST)",
        "ERR_INTERNET_DISCONNECTED",
        "ERR_CONNECTION_REFUSED",
        "ERR_CONNECTION_RESET",
        "ERR_EMPTY_RESPONSE",
        "ERR_CONTENT_LENGTH_MISMATCH",
    )  # a refusal is an answer; a line that was cut
    assert not [one for one in errors if not any(words in one for words in expected)]


def wanted(folder: Path) -> dict[str, Any]:
    """Return what the job asks for, as `job status --json` says."""
    found: dict[str, Any] = status_of(read_job(folder)).next.as_json()
    return found


def begin(page: Page, address: str, **fields: str) -> str:
    """Begin a job by hand; its name."""
    page.goto(f"{address}/")
    page.click(".new-job")
    page.get_by_role("button", name="cranks, does not start").click()
    for key, text in fields.items():
        page.fill(f"#new-{key}", text)
    page.click("#new-begin")
    page.wait_for_selector("#job-card")
    return page.url.rsplit("/", 1)[1]


def asked(page: Page) -> str:
    return page.locator("#job-next").inner_text()


def moved_on(page: Page, before: str) -> None:
    page.wait_for_function(
        "(before) => document.getElementById('job-next').innerText !== before", arg=before, timeout=PATIENCE_MS
    )


def picture(page: Page, pictures: Path | None, name: str) -> None:
    if pictures is not None:
        page.screenshot(path=pictures / f"{name}.png")


@pytest.fixture
def pictures() -> Path | None:
    """Where the steps are drawn, to be looked at: the folder in METERLOG_PICTURES; nowhere else."""
    import os

    folder = os.environ.get("METERLOG_PICTURES")
    if folder:
        Path(folder).mkdir(parents=True, exist_ok=True)
    return Path(folder) if folder else None


def typed(page: Page, vehicle: Vehicle, next_: dict[str, Any]) -> None:
    page.get_by_role("button", name="Type it").click()
    page.fill("#job-typed", vehicle.read(next_))
    page.press("#job-typed", "Enter")


def test_page_and_terminal_work_on_the_same_job(page: Page, address: str, tmp_path: Path) -> None:
    name = begin(page, address, vehicle="blue van")
    folder = tmp_path / "shop" / name

    def terminal(*words: str) -> None:
        command = [sys.executable, "-m", "meterlog", "job", words[0], str(folder), *words[1:]]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)

    before = asked(page)
    terminal("look", "circuit=pump-feed")
    moved_on(page, before)
    page.get_by_text("Voltage from").wait_for()
    typed(page, Vehicle(load_circuit("pump-feed")), wanted(folder))
    page.locator("#job-known .steps").get_by_text("(typed)").wait_for()
    terminal("undo")
    page.locator("#job-known .steps").get_by_text("(typed)").wait_for(state="detached")
    page.get_by_role("button", name="Cannot reach").click()
    page.locator("#job-known .steps").get_by_text("could not be reached").wait_for()
    assert [step.kind for step in read_job(folder).steps] == ["look", "skipped"]


def test_what_was_typed_stays_until_it_is_entered(page: Page, address: str) -> None:
    page.goto(f"{address}/jobs/new")
    page.fill("#new-vehicle", "blue van")
    page.fill("#new-complaint", "dies now and then")
    page.reload()
    page.wait_for_function("() => document.getElementById('new-vehicle')?.value === 'blue van'")
    assert page.input_value("#new-complaint") == "dies now and then"


def test_a_refused_reading_is_said_beside_the_field_and_stays_there(page: Page, address: str, tmp_path: Path) -> None:
    begun(page, address, tmp_path)
    page.get_by_role("button", name="Type it").click()
    page.fill("#job-typed", "lots")
    page.press("#job-typed", "Enter")
    page.locator("#job-said").get_by_text("'lots' is not a number").wait_for()
    assert page.input_value("#job-typed") == "lots"


def test_the_meter_is_shown_large_and_waiting_can_be_ended(
    page: Page, address: str, tmp_path: Path, showing: Showing
) -> None:
    folder = begun(page, address, tmp_path, f"status14:{showing.meter.port}")
    page.evaluate("""localStorage.setItem("meterlog-cautions-read", '["dc_voltage"]')""")
    showing.jitter = 3.0  # no steady reading ever comes
    page.get_by_role("button", name="Take it from the meter").click()
    page.locator("#job-value").get_by_text(re.compile(r"^\d\.\d+ V$")).wait_for()
    page.click("#job-stop")
    page.wait_for_selector("#job-live", state="hidden")
    assert not read_job(folder).of("measured")
    page.get_by_role("button", name="Take it from the meter").wait_for()


def test_a_dead_meter_is_said_where_one_looks(page: Page, address: str, tmp_path: Path, meter: PluggedMeter) -> None:
    begun(page, address, tmp_path, f"status14:{meter.port}")
    page.evaluate("""localStorage.setItem("meterlog-cautions-read", '["dc_voltage"]')""")
    meter.unplug()
    page.get_by_role("button", name="Take it from the meter").click()
    page.locator("#job-said.wrong").wait_for()
    page.get_by_role("button", name="Take it from the meter").wait_for()


def test_the_line_goes_and_comes_back(page: Page, address: str, tmp_path: Path) -> None:
    folder = begun(page, address, tmp_path)
    page.context.set_offline(True)
    page.locator("#job-link").get_by_text("The computer does not answer").wait_for()
    page.get_by_role("button", name="Cannot reach").click()
    page.locator("#job-said.wrong").get_by_text("No answer came").wait_for()
    page.context.set_offline(False)
    page.wait_for_selector("#job-link", state="hidden")
    assert read_job(folder).steps == ()


def test_a_measurement_goes_on_when_the_server_is_killed(
    page: Page, address: str, tmp_path: Path, showing: Showing
) -> None:
    folder = begun(page, address, tmp_path, f"status14:{showing.meter.port}")
    with served(tmp_path / "shop") as (first, server):
        page.goto(f"{first}/jobs/van")
        page.evaluate("""localStorage.setItem("meterlog-cautions-read", '["dc_voltage"]')""")
        page.get_by_role("button", name="Take it from the meter").click()  # 0 V is not believed at once
        page.locator("#job-value").get_by_text(re.compile(r"^\d\.\d+ V$")).wait_for()
        server.kill()
        page.locator("#job-link").get_by_text("The computer does not answer").wait_for()
    page.goto(f"{address}/jobs/van")  # another server, as the same one started again
    page.locator("#job-value").get_by_text(re.compile(r"^\d\.\d+ V$")).wait_for()
    showing.value = 12.3
    page.locator("#job-known .steps").get_by_text("(from the meter)").wait_for()
    (reading,) = read_job(folder).of("measured")
    assert reading.values["value"] == pytest.approx(12.3)


def test_reload_and_back_keep_the_place(page: Page, address: str, tmp_path: Path) -> None:
    begun(page, address, tmp_path)
    page.get_by_role("button", name="Type it").click()
    page.fill("#job-typed", "12.3")
    page.reload()
    page.get_by_role("button", name="Type it").click()
    assert page.input_value("#job-typed") == "12.3"
    page.get_by_role("link", name="Sessions").click()
    page.get_by_text("No sessions in this folder yet.").wait_for()
    page.go_back()
    page.wait_for_selector("#job-card .next")
    page.get_by_role("button", name="Cannot reach").click()
    page.locator("#job-known .steps").get_by_text("could not be reached").wait_for()


def begun(page: Page, address: str, tmp_path: Path, *meters: str) -> Path:
    """A job with a circuit, opened; its folder."""
    folder = tmp_path / "shop" / "van"
    begin_with(
        create_job(folder, complaint="no start", vehicle="", meters=meters, tool="meter", details={}), "pump-feed"
    )
    page.goto(f"{address}/jobs/van")
    page.wait_for_selector("#job-card .next")
    page.wait_for_timeout(500)
    return folder


def test_a_photo_is_kept_with_the_job_and_shown_small(page: Page, address: str, tmp_path: Path) -> None:
    image = pytest.importorskip("PIL.Image")
    folder = begun(page, address, tmp_path)
    image.new("RGB", (3000, 2000), "orange").save(tmp_path / "from-the-camera.png")
    page.fill("#job-caption", "burnt terminal")
    with page.expect_file_chooser() as chooser:
        page.get_by_role("button", name="Take a photo").click()
    chooser.value.set_files(tmp_path / "from-the-camera.png")
    page.locator(".steps img[alt='burnt terminal']").wait_for()
    page.wait_for_function("() => document.querySelector('.steps img').naturalWidth === 1600")
    (step,) = read_job(folder).of("photo")
    with image.open(folder / str(step.values["file"])) as kept:
        assert kept.size == (1600, 1067)
        assert not kept.getexif()


STATES: dict[str, Callable[[Path], object]] = {
    "looking": lambda folder: folder,
    "measuring": lambda folder: begin_with(read_job(folder), "pump-feed"),
}


@pytest.mark.parametrize("page", [LAPTOP], indirect=True)
@pytest.mark.parametrize("state", STATES)
def test_a_job_can_be_read_and_worked_by_everybody(page: Page, address: str, tmp_path: Path, state: str) -> None:
    folder = tmp_path / "shop" / "van"
    create_job(folder, complaint="cranks, does not start", vehicle="van", meters=(), tool="meter", details={})
    STATES[state](folder)
    page.goto(f"{address}/jobs/van")
    page.wait_for_selector("#job-card .next")
    time.sleep(0.5)
    walk(page)
    unnamed(page)
    for scheme in ("light", "dark"):
        assert pale(page, scheme)["controls"] > 0
    page.set_viewport_size(PHONE)
    page.wait_for_function("() => document.documentElement.scrollWidth <= 390")
    assert page.evaluate(SMALL) == []
    unnamed(page)


def put_right(folder: Path) -> None:
    """Find that the relay loses 1.6 V, and replace it."""
    relay_is_bad(folder)
    enter_repair(read_job(folder), "relay", price=14.5, minutes=20, note="its contact was burnt")


def relay_is_bad(folder: Path) -> None:
    job = begin_with(read_job(folder), "pump-feed")
    enter_value(job, *entering_wanted(job, DROP), "1.6")


def proved(folder: Path) -> None:
    put_right(folder)
    job = read_job(folder)
    enter_value(job, *entering_wanted(job, {}), "0.05")


DROP: dict[str, str | None] = {"quantity": "voltage_drop", "at": "relay", "to": "relay", "state": "key_on"}
LATER: dict[str, Callable[[Path], object]] = {
    "to be put right": relay_is_bad,
    "to be proved": put_right,
    "proved": proved,
    "waiting": lambda folder: add_step(folder, "waiting", {"reason": "the relay is ordered", "until": "2099-12-24"}),
    "closed": lambda folder: add_step(folder, "closed", {"reason": "the owner sold the van"}),
}


@pytest.mark.parametrize("page", [LAPTOP], indirect=True)
def test_the_later_states_of_a_job_can_be_read_and_worked_by_everybody(
    page: Page, address: str, tmp_path: Path, pictures: Path | None
) -> None:
    for state, bring_there in LATER.items():
        folder = tmp_path / "shop" / state.replace(" ", "-")
        create_job(folder, complaint="cranks, does not start", vehicle="van", meters=(), tool="meter", details={})
        bring_there(folder)
        page.set_viewport_size(LAPTOP)
        page.goto(f"{address}/jobs/{folder.name}")
        page.wait_for_selector("#job-card .next, #job-card")
        page.wait_for_timeout(500)
        walk(page)
        unnamed(page)
        for scheme in ("light", "dark"):
            assert pale(page, scheme)["controls"] > 0, state
        picture(page, pictures, f"laptop-{folder.name}")
        page.set_viewport_size(PHONE)
        page.wait_for_function("() => document.documentElement.scrollWidth <= 390")
        assert page.evaluate(SMALL) == [], state
        picture(page, pictures, f"phone-{folder.name}")


FOCUSED = "document.activeElement.innerText || document.activeElement.id || ''"


def by_keys(page: Page, name: str) -> None:
    """Come to a control with the Tab key, and press it."""
    for _ in range(200):
        page.keyboard.press("Tab")
        if page.evaluate(FOCUSED).strip() == name:
            break
    else:
        raise AssertionError(f"the Tab key does not come to '{name}'")
    page.keyboard.press("Enter")


@pytest.mark.skipif("METERLOG_LONG" not in os.environ, reason="takes minutes: run by hand")
def test_a_whole_job_without_a_mouse(page: Page, address: str, tmp_path: Path) -> None:
    page.goto(f"{address}/")
    page.wait_for_selector(".new-job")
    by_keys(page, "New job")
    page.wait_for_selector("#new-begin")
    by_keys(page, "cranks, does not start")
    by_keys(page, "Begin")
    page.wait_for_selector("#job-card")
    folder = tmp_path / "shop" / page.url.rsplit("/", 1)[1]
    vehicle = Vehicle(load_circuit("pump-feed"), {"fuse": float("inf")})
    for _ in range(40):
        next_, before = wanted(folder), asked(page)
        if next_["kind"] == "done":
            break
        if next_["kind"] == "look":
            by_keys(page, LOOKS[next_["look"]["key"]])
        elif next_["kind"] == "repair":
            vehicle.extra_ohm.clear()
            by_keys(page, f"{next_['part']} is put right")
        elif next_["kind"] == "try":
            words = page.locator(f'#job-act [data-value="{vehicle.came_of(next_["tried"])}"]').inner_text()
            by_keys(page, words.strip())
        elif next_["quantity"] == "lamp":
            by_keys(page, vehicle.read(next_))
        else:
            by_keys(page, "Type it")
            page.wait_for_function("() => document.activeElement.id === 'job-typed'")
            page.keyboard.type(vehicle.read(next_))
            page.keyboard.press("Enter")
        moved_on(page, before)
    assert status_of(read_job(folder)).state == "proved"
    with page.expect_download() as download:
        by_keys(page, "Report")
    assert "fuse" in Path(download.value.path()).read_text("utf-8")
