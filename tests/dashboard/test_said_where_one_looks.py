"""Server gone, session removed, file damaged, disk full: said where the person is looking, with what to do."""

from __future__ import annotations

import os
import re
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from meterlog_dashboard.record.process import cause_of_end, output_file
from meterlog_dashboard.record.recorder_process import RecorderOptions, Recorders
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.conftest import RECORDINGS
from tests.faults.test_disk import no_file_larger
from tests.waiting import until

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

DRIVE = "drive-intermittent.sqlite"
IN_SIGHT = """(id) => { const box = document.getElementById(id)?.getBoundingClientRect();
  return !!box && box.height > 0 && box.top >= 0 && box.bottom <= innerHeight; }"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with one session."""
    shutil.copy(RECORDINGS / DRIVE, tmp_path / DRIVE)
    return tmp_path


@contextmanager
def served(folder: Path, port: int = 0) -> Iterator[str]:
    """The page over a folder, as its command serves it: its address."""
    command = [sys.executable, "-m", "meterlog", "page", "--port", str(port), str(folder)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
        assert server.stdout is not None
        try:
            yield server.stdout.readline().split()[4].rstrip("/")
        finally:
            server.kill()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A phone's tab."""
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    yield page
    page.close()


def in_sight(page: Page, id_: str, words: str) -> None:
    """Wait until it is said where the page stands."""
    page.locator(f"#{id_}").get_by_text(re.compile(words)).wait_for()
    page.wait_for_function(IN_SIGHT, arg=id_)


def reviewed(page: Page, address: str) -> None:
    """Open the session and go down the page."""
    page.goto(f"{address}/sessions/{DRIVE}")
    page.wait_for_selector("[data-event]")
    page.locator("#event-next").scroll_into_view_if_needed()


def test_a_server_that_is_gone_is_said_in_review_and_when_it_is_back(page: Page, folder: Path) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    with served(folder, port) as address:
        reviewed(page, address)
    page.locator("#event-next").click()
    in_sight(page, "line", "The computer does not answer.*Is it on")
    with served(folder, port):
        in_sight(page, "line", "The computer answers again")
        page.get_by_role("button", name="Show it anew").click()
        page.locator("#event-said").get_by_text("Event 1 of").wait_for()  # the address kept what was chosen
        assert page.locator("#line").count() == 0


def test_a_session_that_is_removed_while_it_is_shown(page: Page, folder: Path) -> None:
    with served(folder) as address:
        reviewed(page, address)
        (folder / DRIVE).unlink()
        page.locator("#event-next").click()
        in_sight(page, "error-message", "it was removed or renamed.*'Sessions' shows what is there")
        page.reload()
        page.get_by_role("alert").get_by_text("it was removed or renamed").wait_for()
        page.get_by_role("link", name="To Sessions").click()
        page.get_by_text("No sessions in this folder yet.").wait_for()


def test_a_damaged_file_is_said_on_the_live_page_and_in_review(page: Page, folder: Path) -> None:
    with (folder / DRIVE).open("r+b") as file:
        file.seek(100)
        file.write(os.urandom(4000))
    with served(folder) as address:
        page.goto(f"{address}/record/{DRIVE}")
        in_sight(page, "link-now", "damaged|not a whole session|cannot be read")
        assert page.locator("#band").inner_text().strip() == "not known"
        assert page.locator("#readouts .skeleton").count() == 1
        page.goto(f"{address}/sessions/{DRIVE}")
        page.get_by_role("alert").get_by_text(DRIVE).wait_for()
        page.get_by_role("link", name="To Sessions").wait_for()


def test_the_parts_of_the_page_that_do_not_come_are_said(page: Page, folder: Path) -> None:
    with served(folder) as address:
        page.route("**/_dash-component-suites/**", lambda route: route.abort())
        page.goto(f"{address}/sessions")
        page.get_by_text("The parts of this page do not come").wait_for(state="visible")


def ended(folder: Path, name: str) -> dict[str, Any]:
    """Return what the live page is told once the recording has ended."""
    client = build(folder, Access(LOOPBACK, 80, None, print)).server.test_client()
    told: dict[str, Any] = {}

    def over() -> bool:
        told.update(client.get(f"/live/{name}", base_url="http://127.0.0.1").get_json())
        return str(told["state"]) != "growing"

    until(over)
    return told


@pytest.mark.skipif(sys.platform == "win32", reason="the limits are POSIX ones")
def test_a_disk_that_takes_no_more_is_the_cause_and_not_the_last_line_of_a_log(tmp_path: Path) -> None:
    recorders = Recorders(SessionFolder(tmp_path))
    with no_file_larger(120_000):
        name = recorders.start(RecorderOptions(["sim:healthy-prime?interval_s=0.002"]))
    until(lambda: not recorders.running())
    cause = recorders.cause(name, 60.0)
    recorders.forget_ended()
    assert re.fullmatch(f".*{name}.*: what was written until now is kept in it", cause)
    assert ended(tmp_path, name)["state"] == "hard"


@pytest.mark.parametrize(
    ("script", "cause"),
    [
        ("print('meterlog: note'); print('meterlog: no meter is there'); exit(2)", "no meter is there"),
        ("print('all is well'); exit(2)", "the recorder ended with an error that it did not name"),
        ("print('meterlog: all is well'); 1/0", "the recorder ended because of a defect in it (exit status 1)"),
        ("print('meterlog: all is well')", ""),
        pytest.param(
            "import os, signal; print('recording to x', flush=True); os.kill(os.getpid(), signal.SIGKILL)",
            "the recorder was ended from outside (SIGKILL): another program or the system ended it",
            marks=pytest.mark.skipif(sys.platform == "win32", reason="no such signal there"),
        ),
    ],
)
def test_only_the_sentence_of_an_error_is_a_cause(script: str, cause: str) -> None:
    with output_file() as output:
        process = subprocess.Popen([sys.executable, "-c", script], stdout=output, stderr=subprocess.DEVNULL)
        process.wait()
        assert cause_of_end(process, output, "the recorder") == cause
