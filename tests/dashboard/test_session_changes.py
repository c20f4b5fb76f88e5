"""A session can be renamed and removed on the page, and both undone; nothing is overwritten, nothing is lost."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from plotly.utils import PlotlyJSONEncoder

from meterlog.archive import Old, put_away
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog_dashboard.aside.acts import archived_list
from meterlog_dashboard.aside.archive import newest
from meterlog_dashboard.aside.names import REMOVED
from meterlog_dashboard.session_files.folder import SessionFolder
from tests.dashboard.conftest import RECORDINGS, Ask, asking
from tests.dashboard.test_job_view import served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

ONE, TWO = "key-on-good-1.sqlite", "key-on-suspect.sqlite"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Two sessions."""
    for name in (ONE, TWO):
        shutil.copy(RECORDINGS / name, tmp_path / name)
    return tmp_path


@pytest.fixture
def ask(folder: Path) -> Ask:
    """Asks the page's server to do something to a session; status and answer."""
    return asking(folder, "session")


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_a_session_is_renamed_and_back(ask: Ask, folder: Path) -> None:
    before = (folder / ONE).read_bytes()
    assert ask(ONE, "rename", " before the repair ") == (200, {"name": "before the repair.sqlite"})
    assert names(folder) == ["before the repair.sqlite", TWO]
    assert ask("before the repair.sqlite", "rename", ONE) == (200, {"name": ONE})
    assert (folder / ONE).read_bytes() == before


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("key-on-suspect", "there is a session 'key-on-suspect.sqlite' already"),
        ("", "cannot be a session's name"),
        ("../outside", "cannot be a session's name"),
        (".hidden", "cannot be a session's name"),
        ("a\nb", "cannot be a session's name"),
        ("n" * 300, "cannot be a session's name"),
        (5, "a name must be a text"),
    ],
)
def test_a_name_that_cannot_be_is_refused(typed: object, said: str, ask: Ask, folder: Path) -> None:
    status, told = ask(ONE, "rename", typed)
    assert status == 400
    assert said in told["error"]
    assert names(folder) == [ONE, TWO]


def test_what_was_removed_is_put_back_whole(ask: Ask, folder: Path) -> None:
    before = (folder / ONE).read_bytes()
    assert ask(ONE, "remove")[0] == 200
    assert names(folder) == [REMOVED, TWO]
    assert ask(ONE, "remove")[0] == 400, "it is not there any more"
    shutil.copy(folder / TWO, folder / ONE)
    status, told = ask(ONE, "put-back")
    assert (status, told["error"]) == (400, f"there is a session '{ONE}' already: give another name")
    assert ask(ONE, "remove")[0] == 200, "two of one name are both kept"
    assert ask(ONE, "put-back")[0] == 200
    assert (folder / ONE).read_bytes() == before
    assert ask("key-on-good-1-2.sqlite", "put-back")[0] == 200
    assert (folder / "key-on-good-1-2.sqlite").read_bytes() == (folder / TWO).read_bytes()


def test_a_session_that_is_being_recorded_stays(ask: Ask, folder: Path) -> None:
    with SessionWriter.create(folder / "now.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(writer.monotonic_start_s, 12.0, Quantity.DC_VOLTAGE, 0.01)])
        for what in ("remove", "rename"):
            status, told = ask("now.sqlite", what, "later")
            assert (status, told["error"]) == (400, "'now.sqlite' is being recorded: stop that first")
    with open_reader(folder / "now.sqlite") as reader:
        assert reader.count(1) == 1


def test_nothing_else_is_done_to_a_file(ask: Ask, folder: Path) -> None:
    (folder / "notes.txt").write_text("mine")
    for name, what in ((ONE, "burn"), ("notes.txt", "remove"), ("gone.sqlite", "rename"), ("gone.sqlite", "put-back")):
        assert ask(name, what, "other")[0] == 400
    assert names(folder) == [ONE, TWO, "notes.txt"]


@pytest.fixture
def packed(folder: Path) -> Path:
    """The first session, archived with a raw capture."""
    raw = folder / "key-on-good-1.meter1.raw"
    raw.write_bytes(b"\x02" * 5000)
    put_away(Old(folder / ONE, "2024-03", (raw,), 0))
    return folder / "archive" / "2024-03" / f"{ONE}.gz"


def test_an_archived_session_says_first_what_restoring_it_does(ask: Ask, folder: Path, packed: Path) -> None:
    before = packed.read_bytes()
    said = json.dumps(archived_list(*newest(SessionFolder(folder), 10)), cls=PlotlyJSONEncoder)
    assert "Archived (1)" in said
    original = (RECORDINGS / ONE).stat().st_size + 5000
    assert f"unpacks '{ONE}' with 1 raw capture into this folder, where it takes {original / 1e3:.0f} kB" in said
    assert "is here already" not in said
    assert (packed.read_bytes(), names(folder)) == (before, ["archive", TWO]), "to look changes nothing"
    assert ask(f"2024-03/{ONE}", "restore") == (200, {"name": ONE})
    assert (folder / ONE).read_bytes() == (RECORDINGS / ONE).read_bytes()
    assert names(folder) == ["archive", "key-on-good-1.meter1.raw", ONE, TWO]
    assert archived_list(*newest(SessionFolder(folder), 10)) is None


def test_an_archived_session_never_takes_the_place_of_another(ask: Ask, folder: Path, packed: Path) -> None:
    shutil.copy(folder / TWO, folder / ONE)
    said = json.dumps(archived_list(*newest(SessionFolder(folder), 10)), cls=PlotlyJSONEncoder)
    assert f"{ONE} is here already" in said
    status, told = ask(f"2024-03/{ONE}", "restore")
    assert status == 400
    assert "exists already and is another" in told["error"]
    assert str(folder) not in told["error"]
    assert (folder / ONE).read_bytes() == (folder / TWO).read_bytes()
    assert packed.exists()


def test_nothing_is_restored_by_a_link_or_from_elsewhere(ask: Ask, folder: Path, packed: Path) -> None:
    (folder / "elsewhere").mkdir()
    packed.rename(folder / "elsewhere" / packed.name)
    packed.symlink_to(folder / "elsewhere" / packed.name)
    for name in (f"2024-03/{ONE}", ONE, f"../elsewhere/{ONE}", "2024-03/gone.sqlite"):
        assert ask(name, "restore")[0] == 400
    assert newest(SessionFolder(folder), 10) == ([], 1)
    shutil.rmtree(packed.parent)
    packed.parent.symlink_to(folder / "elsewhere")
    assert ask(f"2024-03/{ONE}", "restore")[0] == 400
    assert (folder / "elsewhere" / packed.name).exists()


def test_a_raw_capture_that_is_a_link_keeps_its_session_in_the_archive(ask: Ask, folder: Path, packed: Path) -> None:
    raw = packed.with_name("key-on-good-1.meter1.raw.gz")
    raw.rename(folder / raw.name)
    raw.symlink_to(folder / raw.name)
    assert ask(f"2024-03/{ONE}", "restore")[0] == 400
    assert packed.exists()


def test_many_are_named_the_newest_first(folder: Path) -> None:
    for month in ("2024-01", "2024-02", "2024-03"):
        shutil.copy(folder / TWO, folder / f"{month}.sqlite")
        put_away(Old(folder / f"{month}.sqlite", month, (), 0))
    shown, of = newest(SessionFolder(folder), 2)
    assert ([one.name for one in shown], of) == (["2024-03/2024-03.sqlite", "2024-02/2024-02.sqlite"], 3)
    assert "Archived (3, the newest 2" in json.dumps(archived_list(shown, of), cls=PlotlyJSONEncoder)


def test_restoring_on_the_page(browser: Browser, folder: Path, packed: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    with served(folder) as (address, _):
        page.goto(f"{address}/sessions")
        page.get_by_text("Archived (1)").click()
        assert not page.get_by_role("button", name="Restore it").is_visible()
        page.get_by_text("2024-03: key-on-good-1").click()
        page.get_by_text("takes it out of the archive").wait_for()
        page.get_by_role("button", name="Restore it").click()
        page.wait_for_url(f"**/sessions/{ONE}")
        page.get_by_text(ONE).first.wait_for()
    page.close()
    assert not packed.exists()


def test_removing_and_putting_back_on_the_page(browser: Browser, folder: Path) -> None:
    page = browser.new_page(viewport={"width": 390, "height": 844})
    page.set_default_timeout(60_000)
    with served(folder) as (address, _):
        page.goto(f"{address}/sessions/{ONE}")
        page.get_by_text("Rename or remove").click()
        page.fill("#rename-session", "blue van, before")
        page.get_by_role("button", name="Rename").click()
        page.wait_for_url("**/sessions/blue%20van%2C%20before.sqlite")
        page.get_by_text("Rename or remove").click()
        page.get_by_role("button", name="Remove this session").click()
        page.get_by_text("Removed (1)").click()
        assert page.locator("a.session").count() == 1
        page.get_by_role("button", name="Put back").click()
        page.wait_for_url("**/sessions/blue%20van%2C%20before.sqlite")
        page.get_by_text("blue van, before.sqlite").first.wait_for()
    page.close()
