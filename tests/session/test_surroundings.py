"""A session from elsewhere, and what lies beside it: judged before anything is opened, nothing outside is touched."""

from __future__ import annotations

import os
import shutil
import socket
import sqlite3
import struct
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlog.errors import NotASession, SessionError
from meterlog.session import SessionWriter, add_marker, open_reader
from meterlog.session.commits import PAGE_BYTES
from meterlog.session.corrections import correct
from meterlog.session.folder_index import summaries
from meterlog.session.lock import RecorderLock, is_recording, recorder_says
from meterlog.session.summary import summarize

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links and pipes as POSIX has them")

PRECIOUS = b"ten years of notes"
JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")

Uses = dict[str, Callable[[Path], object]]
USES: Uses = {
    "open": lambda path: open_reader(path).close(),
    "mark": lambda path: add_marker(path, "x", time_s=1.0),
    "correct": lambda path: correct(path, {"vehicle": "bus"}),
    "record": SessionWriter.create,
    "lock": RecorderLock,
}


@pytest.fixture
def precious(tmp_path: Path) -> Path:
    """A file in another folder that nobody may touch."""
    folder = tmp_path / "outside"
    folder.mkdir()
    file = folder / "notes.txt"
    file.write_bytes(PRECIOUS)
    return file


def growing(path: Path) -> None:
    """Make a session that says that it is growing, as a crash leaves it: opening it wants to write."""
    connection = sqlite3.connect(path)
    connection.execute("UPDATE recording SET ended = 'growing'")
    connection.commit()
    connection.close()


@pytest.mark.parametrize("use", USES)
@pytest.mark.parametrize("beside", ["journal", "wal", "shm", "recorder"])
@pytest.mark.parametrize("kind", ["link", "dangling link", "hard link", "pipe", "folder", "socket"])
def test_what_lies_beside_a_session_is_never_followed(
    kind: str, beside: str, use: str, session: Path, precious: Path
) -> None:
    growing(session)
    place = session.with_name(f"{session.name}-{beside}")
    with socket.socket(socket.AF_UNIX) as listener:
        if kind == "link":
            place.symlink_to(precious)
        elif kind == "dangling link":
            place.symlink_to(precious.with_name("absent"))
        elif kind == "hard link":
            os.link(precious, place)
        elif kind == "pipe":
            os.mkfifo(place)
        elif kind == "folder":
            place.mkdir()
        else:
            here = Path.cwd()
            os.chdir(place.parent)  # the path of a socket must be short
            listener.bind(place.name)
            os.chdir(here)
        path = session.with_name(session.name)
        if use == "record":
            session.unlink()
        before = None if use == "record" else session.read_bytes()
        with pytest.raises(NotASession, match=f"finished.sqlite-{beside}' beside it is .*not a plain file") as refused:
            USES[use](path)
    assert "\n" not in str(refused.value)
    assert precious.read_bytes() == PRECIOUS
    assert [file.name for file in precious.parent.iterdir()] == [precious.name]
    assert place.is_symlink() or place.exists()
    assert (session.read_bytes() if session.exists() else None) == before


@pytest.mark.parametrize("use", ["open", "mark", "correct"])
def test_a_session_that_is_a_link_or_a_pipe_is_refused(use: str, session: Path, tmp_path: Path) -> None:
    link, pipe = tmp_path / "link.sqlite", tmp_path / "pipe.sqlite"
    link.symlink_to(session)
    os.mkfifo(pipe)
    before = session.read_bytes()
    for path, words in ((link, "is a link.*give the name of the file"), (pipe, "is a pipe")):
        with pytest.raises(NotASession, match=words):
            USES[use](path)
        assert words.split()[2].rstrip(".*give") in summarize(path).damage
    assert session.read_bytes() == before


def test_a_pipe_for_a_lock_is_no_recorder(session: Path) -> None:
    os.mkfifo(session.with_name(f"{session.name}-recorder"))
    assert not is_recording(session)
    assert recorder_says(session) == {}


def hot_journal(session: Path, tail: bytes = b"", pages: int | None = None, page_size: int = PAGE_BYTES) -> Path:
    """A journal that SQLite would roll back, with the first page as it is."""
    content = session.read_bytes()
    pages = len(content) // PAGE_BYTES if pages is None else pages
    page, nonce = content[:PAGE_BYTES], 1
    check = (nonce + sum(page[i] for i in range(PAGE_BYTES - 200, 0, -200))) & 0xFFFFFFFF
    header = struct.pack(">8sIIIII", JOURNAL_MAGIC, 1, nonce, pages, 512, page_size).ljust(512, b"\0")
    journal = session.with_name(f"{session.name}-journal")
    journal.write_bytes(header + struct.pack(">I", 1) + page + struct.pack(">I", check) + tail)
    return journal


def super_journal(name: Path) -> bytes:
    """The end of a journal that belongs to several databases: SQLite removes the file that it names."""
    text = str(name).encode()
    page = struct.pack(">I", 0x40000000 // PAGE_BYTES + 1)
    return page + text + struct.pack(">II", len(text), sum(text)) + JOURNAL_MAGIC


@pytest.mark.parametrize("use", ["open", "mark", "correct", "sessions"])
def test_a_journal_that_names_a_file_elsewhere_removes_nothing(use: str, session: Path, precious: Path) -> None:
    journal = hot_journal(session, super_journal(precious))
    before = session.read_bytes(), journal.read_bytes()
    if use == "sessions":
        (summary,) = summaries(session.parent)
        assert "belongs to several databases" in summary.damage
    else:
        with pytest.raises(NotASession, match="belongs to several databases"):
            USES[use](session)
    assert precious.read_bytes() == PRECIOUS
    assert (session.read_bytes(), journal.read_bytes()) == before


def test_sqlite_itself_would_remove_it(session: Path, precious: Path) -> None:
    """The journal of the test above is a real one: the check cannot pass for want of danger."""
    hot_journal(session, super_journal(precious))
    connection = sqlite3.connect(session)
    connection.execute("SELECT * FROM recording").fetchall()
    connection.close()
    assert not precious.exists()


@pytest.mark.parametrize("page_size", [0, 512, 65536])
def test_a_journal_of_a_larger_file_is_refused(page_size: int, session: Path) -> None:
    hot_journal(session, pages=2**31, page_size=page_size)
    size = session.stat().st_size
    with pytest.raises(NotASession, match="belongs to a larger file"):
        open_reader(session)
    assert session.stat().st_size == size


def test_a_journal_of_ours_is_undone(session: Path) -> None:
    """Return what a marker that was cut short leaves."""
    journal = hot_journal(session)
    with open_reader(session) as reader:
        assert reader.count(1) == 10_000
    assert not journal.exists()


def snapshot(folder: Path) -> dict[str, tuple[bytes, int]]:
    """Every file of a folder, with its content and the time of its last change."""
    return {file.name: (file.read_bytes(), file.stat().st_mtime_ns) for file in folder.iterdir()}


def test_reading_a_sound_session_writes_nothing_beside_it(session: Path, format_1: Path) -> None:
    logged = session.with_name("logged.sqlite")  # as copied with SQLite's backup, say, while it grew
    shutil.copy(session, logged)
    content = bytearray(logged.read_bytes())
    content[18:20] = b"\2\2"
    logged.write_bytes(content)
    before = snapshot(session.parent)
    for path in (session, format_1, logged):
        assert not is_recording(path)
        with open_reader(path) as reader:
            assert reader.ended == "clean"
            assert len(reader.series(1)) == reader.count(1)
            assert snapshot(session.parent) == before
        assert snapshot(session.parent) == before
    assert [summary.damage for summary in summaries(session.parent)] == ["", "", ""]
    assert snapshot(session.parent) == before


STRANGERS = {
    "a trigger": "CREATE TRIGGER evil AFTER INSERT ON marker BEGIN DELETE FROM chunk; END",
    "a view": "CREATE VIEW evil AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n",
    "a table": "CREATE TABLE evil (x)",
    "an index": "CREATE INDEX evil ON marker (name)",
    "a foreign table": "CREATE VIRTUAL TABLE evil USING fts5(x)",
    "a generated column": "ALTER TABLE marker ADD COLUMN evil AS (hex(zeroblob(1000000000)))",
    "a renamed table": "ALTER TABLE chunk RENAME TO evil",
    "a dropped column": "ALTER TABLE link_change DROP COLUMN cause",
    "a replaced table": "DROP TABLE recording",
}


@pytest.mark.parametrize("name", STRANGERS)
@pytest.mark.parametrize("which", ["session", "format_1"])
def test_nothing_that_a_stranger_defines_is_run(name: str, which: str, request: pytest.FixtureRequest) -> None:
    path: Path = request.getfixturevalue(which)
    connection = sqlite3.connect(path)
    connection.execute(STRANGERS[name])
    if name == "a replaced table":
        connection.execute(
            "CREATE VIEW recording AS WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n)"
            " SELECT i AS started_at, i AS monotonic_start_s, i AS ended FROM n WHERE i < 0"
        )
    connection.commit()
    connection.close()
    before = snapshot(path.parent)
    for use in ("open", "mark", "correct"):
        with pytest.raises(NotASession, match=r"none that meterlog makes|is missing") as refused:
            USES[use](path)
        assert "\n" not in str(refused.value)
    (damage,) = (summary.damage for summary in summaries(path.parent) if summary.path == path)
    assert "none that meterlog makes" in damage or "is missing" in damage
    assert snapshot(path.parent) == before


def test_a_statement_ends_when_pages_lead_in_a_circle(session: Path) -> None:
    """Interior pages that share their children make a small file as long as one likes; steps are counted."""
    connection = sqlite3.connect(session)
    (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'detail'").fetchone()
    connection.executemany("INSERT INTO detail VALUES (?, ?)", ((f"key {i}", "v" * 100) for i in range(2000)))
    connection.commit()
    connection.close()
    content = bytearray(session.read_bytes())
    at = (root - 1) * PAGE_BYTES
    assert content[at] == 2  # an interior page of an index
    cells = struct.unpack_from(">H", content, at + 3)[0]
    pointers = struct.unpack_from(f">{cells}H", content, at + 12)
    for pointer in pointers:
        struct.pack_into(">I", content, at + pointer, root)
    struct.pack_into(">I", content, at + 8, root)
    session.write_bytes(content)
    with pytest.raises(SessionError), open_reader(session) as reader:
        _ = reader.details
    assert "details" not in summarize(session).damage
    assert summarize(session).damage
