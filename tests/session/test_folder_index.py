"""A folder's index changes how long its list takes, never what is in it."""

from __future__ import annotations

import os
import shutil
import sqlite3
import threading
from contextlib import closing
from pathlib import Path

import pytest

from meterlog.session import folder_index
from meterlog.session.folder_index import NAME, summaries
from meterlog.session.summary import Summary, holding, summarize
from meterlog_dashboard.session_files.session_list import SessionList

RECORDINGS = Path(__file__).parents[2] / "recordings"
SESSIONS = 6


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A few copies of one session, already worth an index, and a damaged file."""
    monkeypatch.setattr(folder_index, "WORTH", 3)
    for number in range(SESSIONS):
        shutil.copy(RECORDINGS / "key-on-good-1.sqlite", tmp_path / f"s{number}.sqlite")
    (tmp_path / "torn.sqlite").write_bytes(b"no session" * 200)
    return tmp_path


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The names of the files that are opened to be summed up."""
    names: list[str] = []

    def noted(path: Path) -> Summary:
        names.append(path.name)
        return summarize(path)

    monkeypatch.setattr(folder_index, "summarize", noted)
    return names


def truth(folder: Path) -> dict[str, Summary]:
    """Return what the files themselves say."""
    return {path.name: summarize(path) for path in sorted(folder.glob("*.sqlite"))}


def listed(folder: Path) -> dict[str, Summary]:
    """Return what the list says."""
    return {one.path.name: one for one in summaries(folder)}


def test_only_what_changed_is_opened_and_the_list_is_the_truth(folder: Path, opened: list[str]) -> None:
    assert listed(folder) == truth(folder)
    opened.clear()
    assert listed(folder) == truth(folder)
    assert opened == ["torn.sqlite"]  # why a file cannot be read may change without it
    shutil.copy(RECORDINGS / "key-on-suspect.sqlite", folder / "s2.sqlite")
    (folder / "s4.sqlite").unlink()
    (folder / "s3.sqlite").rename(folder / "renamed.sqlite")
    opened.clear()
    assert listed(folder) == truth(folder)
    assert sorted(opened) == ["renamed.sqlite", "s2.sqlite", "torn.sqlite"]


@pytest.mark.parametrize(
    "damage",
    [b"", b"not a database" * 100, b"SQLite format 3\0" + bytes(5000)],
    ids=["empty", "rubbish", "a header alone"],
)
def test_a_damaged_index_is_made_anew(folder: Path, opened: list[str], damage: bytes) -> None:
    listed(folder)
    (folder / NAME).write_bytes(damage)
    assert listed(folder) == truth(folder)
    listed(folder)
    opened.clear()
    assert listed(folder) == truth(folder)
    assert opened == ["torn.sqlite"]


def test_rows_that_are_no_summaries_count_for_nothing(folder: Path) -> None:
    listed(folder)
    with closing(sqlite3.connect(folder / NAME)) as connection, connection:
        connection.execute("UPDATE summary SET details = '[1, 2]' WHERE name < 's2'")
        connection.execute("UPDATE summary SET channels = '[[1]]', started_at = NULL WHERE name = 's3.sqlite'")
    assert listed(folder) == truth(folder)


def test_an_index_of_an_earlier_layout_is_made_anew(folder: Path, opened: list[str]) -> None:
    listed(folder)
    with closing(sqlite3.connect(folder / NAME)) as connection, connection:
        connection.execute("ALTER TABLE summary RENAME TO listed")
    for _ in range(2):
        assert listed(folder) == truth(folder)
    opened.clear()
    assert listed(folder) == truth(folder)
    assert opened == ["torn.sqlite"]


def test_a_search_finds_names_labels_and_details_in_capitals_or_not(folder: Path) -> None:
    for _ in range(2):  # by the files, and by the index
        every = summaries(folder)
        label = next(one for one in every if not one.damage).channels[0][0]
        assert {one.name for one in holding(every, [label.upper()])} == {f"s{n}.sqlite" for n in range(SESSIONS)}
        assert [one.name for one in holding(every, ["S1.SQL", label[:3]])] == ["s1.sqlite"]
        assert [one.name for one in holding(every, ["TORN"])] == ["torn.sqlite"]
        assert not holding(every, [label, "no such word"])


def test_another_programs_file_and_a_link_are_never_written_to(folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other"
    with closing(sqlite3.connect(other)) as connection, connection:
        connection.execute("CREATE TABLE theirs (a)")
    before = other.read_bytes()
    (folder / NAME).symlink_to(other)
    assert listed(folder) == truth(folder)
    assert other.read_bytes() == before


def test_without_a_place_to_write_the_list_is_whole(folder: Path) -> None:
    (folder / NAME).mkdir()
    assert listed(folder) == truth(folder)


def test_an_index_that_another_program_holds_delays_nothing_for_long(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(folder_index, "_WAIT_S", 0.01)
    listed(folder)
    os.utime(folder / "s1.sqlite", (1, 1))
    with closing(sqlite3.connect(folder / NAME, isolation_level=None)) as connection:
        connection.execute("BEGIN EXCLUSIVE")
        assert listed(folder) == truth(folder)
    assert listed(folder) == truth(folder)


def test_several_at_once_agree(folder: Path) -> None:
    found: list[dict[str, Summary]] = []
    threads = [threading.Thread(target=lambda: found.append(listed(folder))) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [truth(folder)] * 4


def test_the_page_and_the_command_share_it(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    on_the_page: list[str] = []

    def noted(path: Path) -> Summary:
        on_the_page.append(path.name)
        return summarize(path)

    monkeypatch.setattr("meterlog_dashboard.session_files.session_list.summarize", noted)
    listed(folder)
    assert len(SessionList(folder).all()) == SESSIONS + 1
    assert on_the_page == ["torn.sqlite"]


def test_beside_a_few_sessions_stands_no_index(tmp_path: Path) -> None:
    shutil.copy(RECORDINGS / "key-on-good-1.sqlite", tmp_path / "one.sqlite")
    summaries(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["one.sqlite"]
