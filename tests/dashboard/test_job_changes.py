"""A whole job can be renamed and removed on the page, and both undone; nothing is overwritten, nothing is lost."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from meterlog.job.job_file import create_job, read_job
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter
from meterlog_dashboard.aside.names import REMOVED
from tests.dashboard.conftest import RECORDINGS, Ask, asking
from tests.dashboard.test_job_view import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

VAN = "blue-van"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A job with a session in it, and another one."""
    for name in (VAN, "truck"):
        create_job(tmp_path / name, complaint="dies", vehicle=name, meters=(), tool="meter", details={})
    shutil.copy(RECORDINGS / "key-on-good-1.sqlite", tmp_path / VAN)
    return tmp_path


@pytest.fixture
def ask(folder: Path) -> Ask:
    """Asks the page's server to do something to a job; status and answer."""
    return asking(folder, "job")


def files(folder: Path) -> list[str]:
    found = (path for path in folder.rglob("*") if path.is_file() and path.name != ".job.lock")
    return sorted(path.relative_to(folder).as_posix() for path in found)


def test_a_job_is_renamed_with_all_that_is_in_it(ask: Ask, folder: Path) -> None:
    assert ask(VAN, "rename", " the blue one ") == (200, {"name": "the blue one"})
    assert files(folder) == ["the blue one/job.toml", "the blue one/key-on-good-1.sqlite", "truck/job.toml"]
    assert read_job(folder / "the blue one").vehicle == VAN
    assert ask("the blue one", "rename", VAN) == (200, {"name": VAN})


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("truck", "there is a job or folder 'truck' already: give another name"),
        ("", "cannot be a job's name"),
        ("../outside", "cannot be a job's name"),
        (".hidden", "cannot be a job's name"),
        (5, "a name must be a text"),
    ],
)
def test_a_name_that_cannot_be_is_refused(typed: object, said: str, ask: Ask, folder: Path) -> None:
    before = files(folder)
    status, told = ask(VAN, "rename", typed)
    assert status == 400
    assert said in told["error"]
    assert files(folder) == before


def test_a_job_that_was_removed_is_put_back_whole(ask: Ask, folder: Path) -> None:
    before = files(folder)
    assert ask(VAN, "remove")[0] == 200
    assert files(folder) == [f"{REMOVED}/{VAN}/job.toml", f"{REMOVED}/{VAN}/key-on-good-1.sqlite", "truck/job.toml"]
    assert ask(VAN, "remove")[0] == 400, "it is not there any more"
    create_job(folder / VAN, complaint="another", vehicle="", meters=(), tool="meter", details={})
    assert ask(VAN, "put-back")[0] == 400, "nothing is overwritten"
    assert ask(VAN, "remove")[0] == 200, "two of one name are both kept"
    assert ask(VAN, "put-back")[0] == 200
    assert ask(f"{VAN}-2", "put-back")[0] == 200
    assert files(folder) == sorted([*before, f"{VAN}-2/job.toml"])


def test_a_job_that_is_being_measured_stays(ask: Ask, folder: Path) -> None:
    with SessionWriter.create(folder / VAN / "now.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(writer.monotonic_start_s, 12.0, Quantity.DC_VOLTAGE, 0.01)])
        for what in ("remove", "rename"):
            status, told = ask(VAN, what, "later")
            assert (status, told["error"]) == (400, f"the job '{VAN}' is being measured: stop that first")
    assert (folder / VAN / "now.sqlite").exists()


def test_no_other_folder_and_no_link_is_touched(
    ask: Ask, folder: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    outside = create_job(
        tmp_path_factory.mktemp("elsewhere") / "job", complaint="x", vehicle="", meters=(), tool="meter", details={}
    ).folder
    (folder / "photos").mkdir()
    (folder / "link").symlink_to(outside)
    (folder / REMOVED).mkdir()
    (folder / REMOVED / "link").symlink_to(outside)
    for name, what in (("photos", "remove"), ("link", "remove"), ("link", "rename"), ("link", "put-back")):
        assert ask(name, what, "other")[0] == 400
    assert (outside / "job.toml").exists()
    assert (folder / "photos").exists()


def test_removing_a_job_and_putting_it_back_on_the_page(browser: Browser, folder: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    with served(folder) as (address, _):
        page.goto(f"{address}/jobs/{VAN}")
        page.fill("#job-note-text", "came on a tow truck")
        page.get_by_role("button", name="Add it").click()
        page.get_by_text("Note: came on a tow truck").wait_for()
        page.get_by_text("Rename or remove").click()
        page.get_by_role("button", name="Remove this job").click()
        page.get_by_text("Removed (1)").click()
        assert page.locator("a.session").count() == 1
        page.get_by_role("button", name="Put back").click()
        page.get_by_text("Note: came on a tow truck").wait_for()
    page.close()
