"""The list of a folder with many sessions: the newest at once, all of them soon, and nothing read twice for nothing."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from meterlog.session.summary import Summary, summarize
from meterlog_dashboard.session_files.session_list import SessionList, stamps

RECORDINGS = Path(__file__).parents[2] / "recordings"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Nine copies of one session, the last one the newest file; and what is no session's file."""
    for number in range(9):
        copy = tmp_path / f"s{number}.sqlite"
        shutil.copy(RECORDINGS / "key-on-good-1.sqlite", copy)
        os.utime(copy, (number, number))
    (tmp_path / ".hidden.sqlite").write_bytes(b"")
    (tmp_path / "notes.txt").write_text("no session")
    (tmp_path / "folder.sqlite").mkdir()
    return tmp_path


def test_the_first_look_answers_from_the_newest_files_and_the_rest_follows(folder: Path) -> None:
    listing = SessionList(folder, at_once=3)
    known, unread = listing.so_far()
    assert {"s8.sqlite", "s7.sqlite", "s6.sqlite"} <= {one.path.name for one in known}
    assert unread == 6
    assert len(listing.all()) == 9
    assert listing.so_far()[1] == 0


def test_only_what_changed_is_read_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    listing = SessionList(folder)
    assert len(listing.all()) == 9
    read: list[str] = []

    def noted(path: Path) -> Summary:
        read.append(path.name)
        return summarize(path)

    monkeypatch.setattr("meterlog_dashboard.session_files.session_list.summarize", noted)
    os.utime(folder / "s4.sqlite", (99, 99))
    (folder / "s0.sqlite").unlink()
    known, unread = listing.so_far()
    assert (read, len(known), unread) == (["s4.sqlite"], 8, 0)


def test_a_damaged_file_comes_last_and_says_why(folder: Path) -> None:
    (folder / "aa-torn.sqlite").write_bytes(b"no session" * 200)
    listed = SessionList(folder).all()
    assert listed[-1].path.name == "aa-torn.sqlite"
    assert listed[-1].damage


def test_a_change_of_the_write_ahead_log_is_a_change_of_its_session(folder: Path) -> None:
    before = stamps(folder)
    (folder / "s1.sqlite-wal").write_bytes(b"growing")
    after = stamps(folder)
    assert {Path(path).name for path in after if after[path] != before[path]} == {"s1.sqlite"}


def test_a_search_is_content_with_a_list_that_is_a_moment_old(folder: Path) -> None:
    listing = SessionList(folder)
    assert len(listing.so_far()[0]) == 9
    (folder / "s0.sqlite").unlink()
    assert len(listing.so_far(age_s=60.0)[0]) == 9
    assert len(listing.so_far()[0]) == 8
