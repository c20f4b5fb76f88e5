"""Makes the pictures of the READMEs from the real page: `python -m tests.pictures`; or every view, to look at.

    python -m tests.pictures                 # dashboard/pictures/*.webp, which the READMEs show
    python -m tests.pictures --all FOLDER    # each view and the report, in every width, light and dark, as PNG
    python -m tests.pictures --all FOLDER --only review compare

The sessions are those of `recordings/`; what is live comes from an emulated meter on a pseudo-terminal.
"""

from __future__ import annotations

import argparse
import base64
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote_plus

from playwright.sync_api import Browser, Page, sync_playwright

from meterlog.job.entering import begin_with, enter_value, wanted
from meterlog.job.job_file import create_job
from meterlog.report import find_browser
from meterlog_dashboard.record.recorder_process import RecorderOptions, Recorders
from meterlog_dashboard.session_files.folder import SessionFolder

ROOT = Path(__file__).parents[1]
PICTURES, RECORDINGS = ROOT / "dashboard" / "pictures", ROOT / "recordings"
MOST_BYTES = 60_000
PHONE = {"width": 390, "height": 844}
SIZES = (PHONE, {"width": 768, "height": 1024}, {"width": 1280, "height": 900}, {"width": 1920, "height": 1080})
ON_ITS_SIDE = {"width": 844, "height": 390}
_CHROMIUM = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking"]
_QUALITIES = (85, 70, 55, 40, 25)
_SETTLED_MS = 700


@dataclass(frozen=True, slots=True)
class Scene:
    """One view with something in it: where it is, and what to do there."""

    name: str
    path: str
    prepare: Callable[[Page], None] = lambda page: None  # noqa: ARG005


def _review(page: Page) -> None:
    page.wait_for_selector("[data-event]", state="attached")  # on a phone some are folded away
    page.wait_for_selector("#detail .js-line", state="attached")


def _third_event(page: Page) -> None:
    _review(page)
    for number in (1, 2, 3):
        page.keyboard.press("n")
        page.get_by_text(f"Event {number} of").wait_for()


def _measured(page: Page) -> None:
    """Says that the load is dead and enters a good voltage where it is suggested: a diagnosis in mid-way."""
    page.wait_for_selector(".next")
    page.get_by_text("it does not work at all").click()
    page.wait_for_timeout(_SETTLED_MS)
    before = page.locator(".next").inner_text()
    page.fill("#reading-value", "12.1")
    page.click("#reading-add")
    page.get_by_text("Added.").wait_for()
    page.wait_for_function("(before) => document.querySelector('.next')?.textContent !== before", arg=before)


def _armed_form(page: Page) -> None:
    page.evaluate("localStorage.setItem('meterlog-cautions-read', '[\"dc_voltage\"]')")
    page.get_by_label("Name", exact=True).first.fill("pump feed")
    page.get_by_label("Test point").first.fill("connector C12, pin 3")
    page.get_by_text("wait until it rises through").click()


def _live(page: Page) -> None:
    page.evaluate("""localStorage.setItem('meterlog-cautions-read', '["dc_voltage", "dc_current"]')""")
    page.reload()
    page.wait_for_selector("#live-events li")
    page.wait_for_selector("#strip-chart .js-plotly-plot .scatterlayer path", state="attached")


def _lost(page: Page) -> None:
    """The supply was on for long, and is gone."""
    _live(page)
    page.wait_for_selector(".band.trouble")
    page.get_by_text("OFF for 3 s").wait_for()


def _ten(page: Page) -> None:
    page.evaluate("""localStorage.setItem('meterlog-cautions-read', '["dc_voltage", "dc_current"]')""")
    page.reload()
    page.wait_for_selector("#live.many .readout:nth-child(10)")
    page.wait_for_selector("#strip-chart .js-plotly-plot .scatterlayer path", state="attached")


def _job(page: Page) -> None:
    page.wait_for_selector("#job-card .probes")


STANDING = [
    Scene("jobs", "/jobs", lambda page: page.locator("a.session").first.wait_for()),
    Scene("job", "/jobs/blue-van", _job),
    Scene("job-looks", "/jobs/red-van", lambda page: page.locator("#job-card").wait_for()),
    Scene("job-new", "/jobs/new", lambda page: page.locator("#new-begin").wait_for()),
    Scene("sessions", "/sessions", lambda page: page.locator("a.session").first.wait_for()),
    Scene(
        "vehicle",
        "/sessions?vehicle=delivery+van+1+%28simulated%29",
        lambda page: page.locator(".history .point").first.wait_for(state="attached"),
    ),
    Scene("review", "/sessions/drive-intermittent.sqlite", _third_event),
    Scene("review-channels", "/sessions/drop-test-bad-ground.sqlite", _review),
    Scene("review-ohms", "/sessions/wiggle-feed-ohms.sqlite", _review),
    Scene(
        "compare",
        "/compare?suspect=key-on-suspect.sqlite&good=key-on-good-1.sqlite",
        lambda page: page.locator(".js-line").first.wait_for(state="attached"),
    ),
    Scene("circuit", "/circuit", _measured),
    Scene("record", "/record", _armed_form),
    Scene("record-first", "/record"),
]


@contextmanager
def served(folder: Path) -> Iterator[str]:
    """The page over a folder, as its command serves it; its address."""
    command = [sys.executable, "-m", "meterlog", "page", "--port", "0", str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        try:
            assert server.stdout is not None
            yield server.stdout.readline().split()[4].rstrip("/")
        finally:
            server.terminate()


@contextmanager
def recorded(folder: Path, scenario: str = "intermittent-feed", speed: float = 2.0) -> Iterator[str]:
    """A session that is being recorded from an emulated meter; its name."""
    command = [sys.executable, "-m", "meterlog", "emulate", scenario, "--speed", str(speed)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as emulator:
        try:
            assert emulator.stdout is not None
            port = emulator.stdout.readline().strip()
            recorders = Recorders(SessionFolder(folder))
            meter = f"status14:{port}?label=pump+feed&point=connector+C12%2C+pin+3"
            name = recorders.start(
                RecorderOptions([meter], {"vehicle": "delivery van", "complaint": "dies on rough road"})
            )
            yield name
            recorders.stop(name)
        finally:
            emulator.terminate()


TEN = (
    *("battery", "fuse 12 in", "fuse 12 out", "relay coil", "relay output at the box behind the left headlamp"),
    *("inertia switch", "pump feed at the plug", "pump ground", "engine ground strap", "ignition switch"),
)


@contextmanager
def recorded_ten(folder: Path) -> Iterator[str]:
    """A session of ten simulated meters at once; its name."""
    recorders = Recorders(SessionFolder(folder))
    meters = [f"sim:healthy-prime?seed={k}&label={quote_plus(label)}" for k, label in enumerate(TEN, 1)]
    name = recorders.start(RecorderOptions(meters))
    yield name
    if name in recorders.running():  # they end by themselves
        recorders.stop(name)
    recorders.forget_ended()


def shop(folder: Path) -> Path:
    """The sample sessions and two jobs, as a folder that may be written in."""
    for path in RECORDINGS.glob("*.sqlite"):
        shutil.copy(path, folder / path.name)
    for vehicle in ("red van", "blue van"):
        begun = create_job(
            folder / vehicle.replace(" ", "-"),
            complaint="cranks, does not start",
            vehicle=vehicle,
            meters=("status14:/dev/ttyUSB0",),
            tool="meter",
            details={},
        )
    job = begin_with(begun, "pump-feed")
    for at, volts in (("fuse_out", 12.3), ("relay_out", 7.9)):
        case, m = wanted(job, {"quantity": "voltage", "at": at, "to": "battery_minus", "state": "key_on"})
        job = enter_value(job, case, m, f"{volts:g}")
    return folder


def tab(browser: Browser, viewport: Any, scheme: Any, phone: bool) -> Page:
    """A page of that size; a phone has a finger and no mouse."""
    context = browser.new_context(viewport=viewport, color_scheme=scheme, has_touch=phone)
    page = context.new_page()
    page.set_default_timeout(90_000)
    return page


def show(page: Page, address: str, scene: Scene) -> None:
    """Open a scene and wait until it stands still."""
    page.goto(f"{address}{scene.path}")
    page.wait_for_selector("h1", state="attached")
    scene.prepare(page)
    page.wait_for_timeout(_SETTLED_MS)


def all_views(browser: Browser, out: Path, only: Sequence[str] = ()) -> None:
    """Each view in each size and scheme as a whole page."""
    out.mkdir(parents=True, exist_ok=True)
    with ExitStack() as stack:
        folder = shop(Path(stack.enter_context(tempfile.TemporaryDirectory())))
        empty = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        address, bare = stack.enter_context(served(folder)), stack.enter_context(served(empty))
        name = stack.enter_context(recorded(folder))
        scenes = [(address, scene) for scene in [*STANDING, Scene("live", f"/record/{name}", _live)]]
        if not only or "live-ten" in only:
            ten = stack.enter_context(recorded_ten(empty))
            scenes.append((bare, Scene("live-ten", f"/record/{ten}", _ten)))
        scenes += [(bare, Scene(f"empty-{path}", f"/{path}")) for path in ("sessions", "compare", "circuit")]
        scenes = [(where, scene) for where, scene in scenes if not only or scene.name in only]
        report = make_report(out) if not only else None
        sizes = (*SIZES, ON_ITS_SIDE) if only else SIZES
        for viewport, scheme in ((size, scheme) for size in sizes for scheme in ("light", "dark")):
            phone = viewport in (PHONE, ON_ITS_SIDE)
            for where, scene in scenes:
                page = tab(browser, viewport, scheme, phone)
                show(page, where, scene)
                whole = not scene.name.startswith("live")
                page.screenshot(path=out / f"{scene.name}-{viewport['width']}-{scheme}.png", full_page=whole)
                page.context.close()
            if report is None:
                continue
            page = tab(browser, viewport, scheme, phone)
            page.goto(report.as_uri(), wait_until="domcontentloaded")
            page.wait_for_timeout(2000)
            page.screenshot(path=out / f"report-{viewport['width']}-{scheme}.png", full_page=True)
            page.context.close()


def for_readme(browser: Browser) -> None:
    """The pictures that the README shows, each under `MOST_BYTES`."""
    PICTURES.mkdir(exist_ok=True)
    scene = {one.name: one for one in STANDING}
    with ExitStack() as stack:
        folder = shop(Path(stack.enter_context(tempfile.TemporaryDirectory())))
        address, name = stack.enter_context(served(folder)), stack.enter_context(recorded(folder, "dies-and-stays"))
        live = Scene("live", f"/record/{name}", _lost)
        for name, shown, width, height, scheme in (
            ("live-phone", live, 390, 844, "dark"),
            ("live", live, 1280, 900, "light"),
            ("job", scene["job"], 1280, 900, "light"),
            ("job-phone", scene["job"], 390, 844, "light"),
            ("review", scene["review"], 1280, 1000, "light"),
            ("compare", scene["compare"], 1280, 1130, "light"),
            ("circuit", scene["circuit"], 1280, 960, "light"),
        ):
            page = tab(browser, {"width": width, "height": height}, scheme, phone=False)
            show(page, address, shown)
            page.evaluate("scrollTo(0, 0)")
            (PICTURES / f"{name}.webp").write_bytes(_webp(page))
            page.context.close()


def _webp(page: Page) -> bytes:
    """Return what the tab shows, as good as the allowed size lets it be."""
    devtools = page.context.new_cdp_session(page)
    for quality in _QUALITIES:
        taken = devtools.send("Page.captureScreenshot", {"format": "webp", "quality": quality})
        picture = base64.b64decode(taken["data"])
        if len(picture) < MOST_BYTES:
            break
    return picture


def make_report(folder: Path) -> Path:
    """A report with everything in it, and its print."""
    out = folder / "report.html"
    for old in (out, out.with_suffix(".pdf")):
        old.unlink(missing_ok=True)
    command = [sys.executable, "-m", "meterlog", "report", str(RECORDINGS / "key-on-suspect.sqlite")]
    command += [str(RECORDINGS / "drive-intermittent.sqlite"), "--good", str(RECORDINGS / "key-on-good-1.sqlite")]
    command += ["--circuit", "pump-feed", "--out", str(out), "--pdf"]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
    return out


def main(arguments: list[str]) -> int:
    """Make them."""
    parser = argparse.ArgumentParser(prog="python -m tests.pictures", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--all", type=Path, metavar="FOLDER", help="every view, to be looked at")
    parser.add_argument("--only", nargs="+", default=(), metavar="NAME", help="only the views of these names")
    asked = parser.parse_args(arguments)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=find_browser(), args=_CHROMIUM)
        if asked.all:
            all_views(browser, asked.all, asked.only)
        else:
            for_readme(browser)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
