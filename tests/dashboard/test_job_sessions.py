"""A session in a job's folder opens on the page as any other, says whose it is, and stays with its job."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meterlog.job.entering import begin_with
from meterlog.job.job_file import add_step, create_job
from meterlog_dashboard.frame.app import build
from meterlog_dashboard.gate.access import LOOPBACK, Access
from tests.dashboard.conftest import RECORDINGS
from tests.dashboard.test_job_view import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SESSION = "key-on-suspect.sqlite"
PLACE = {"quantity": "voltage", "at": "fuse_out", "to": "battery_minus", "state": "key_on"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A job with a reading that was taken from a session in its folder."""
    begun = create_job(tmp_path / "blue van", complaint="dies", vehicle="van 7", meters=(), tool="meter", details={})
    job = begin_with(begun, "pump-feed")
    shutil.copy(RECORDINGS / SESSION, job.folder)
    taken = {"value": 9.57, "how": "measured", "session": SESSION, "time_s": 4.2}
    add_step(job.folder, "measured", PLACE | taken)
    return tmp_path


def test_its_readings_can_be_taken_away_and_it_stays_with_the_job(folder: Path) -> None:
    client = build(folder, Access(LOOPBACK, 80, None, print)).server.test_client()
    at = "http://127.0.0.1"
    with client.get(f"/files/blue van/{SESSION}/csv", base_url=at) as csv:
        assert csv.status_code == 200
        assert csv.text.startswith("time_s")
    assert client.get(f"/live/blue%20van%2F{SESSION}", base_url=at).get_json()["state"] == "clean"
    for what in ("rename", "remove"):
        told = client.post(f"/session/blue van/{SESSION}/{what}", json={"name": "x"}, base_url=at)
        assert told.status_code == 400
        assert told.get_json()["error"].startswith(f"'{SESSION}' belongs to the job 'blue van'")
    assert (folder / "blue van" / SESSION).exists()


def test_from_a_reading_to_its_curve_and_back_to_the_job(browser: Browser, folder: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    with served(folder) as (address, _):
        page.goto(f"{address}/jobs/blue%20van")
        page.get_by_role("link", name="Its curve").click()
        page.wait_for_selector("[data-event]", state="attached")
        assert page.get_by_text("Rename or remove").count() == 0
        page.get_by_text("This session belongs to the job").get_by_role("link", name="van 7 · dies").click()
        page.locator("#job-card").wait_for()
        page.goto(f"{address}/compare?suspect=blue%20van%2F{SESSION}")
        page.locator("#compare-suspect").get_by_text(f"blue van/{SESSION}").wait_for()
    page.close()
