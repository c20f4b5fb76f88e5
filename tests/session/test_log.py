"""The log is taken into the file while it grows; a file that lost its log says where that is, and nothing spoils it."""

from __future__ import annotations

import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.errors import EmptySession, SessionError, SessionWriteFailed
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, commits, open_reader
from meterlog.session.markers import add_marker
from tests.waiting import until

V = Quantity.DC_VOLTAGE


def count(path: Path) -> int:
    with open_reader(path) as reader:
        return reader.count(1) if reader.channels else 0


def append(writer: SessionWriter, first: int, count: int) -> None:
    readings = [Reading(writer.monotonic_start_s + i / 10, float(i), V, 0.01) for i in range(first, first + count)]
    writer.append(1, readings)
    writer.flush()


@pytest.fixture
def growing(tmp_path: Path) -> Iterator[tuple[Path, SessionWriter]]:
    """A session that is being recorded."""
    path = tmp_path / "a.sqlite"
    with SessionWriter.create(path) as writer:
        writer.add_channel("feed", V)
        yield path, writer


KILLED = """
import os, signal, sys, time
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, commits

path, taken_in, in_log = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
commits.TAKE_IN_S = 0.0 if taken_in else 1000.0
writer = SessionWriter.create(path)
writer.add_channel("feed", Quantity.DC_VOLTAGE)
for count in filter(None, (taken_in, in_log)):
    start_s = time.monotonic()
    writer.append(1, [Reading(start_s + i / 10, float(i), Quantity.DC_VOLTAGE, 0.01) for i in range(count)])
    writer.flush()
    commits.TAKE_IN_S = 1000.0
    while count == taken_in and writer._commits._beside:
        time.sleep(0.01)
    writer._commits._take_in_at_s = time.monotonic() + 1000
os.kill(os.getpid(), signal.SIGKILL)
"""


def killed(folder: Path, taken_in: int, in_log: int) -> Path:
    """A killed recording: so many readings in the file, so many more in its log alone."""
    path = folder / "a.sqlite"
    words = [sys.executable, "-c", KILLED, str(path), str(taken_in), str(in_log)]
    assert subprocess.run(words, check=False).returncode == -signal.SIGKILL
    return path


def test_a_copy_of_the_file_alone_has_all_but_the_last_seconds(
    growing: tuple[Path, SessionWriter], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, writer = growing
    monkeypatch.setattr(commits, "TAKE_IN_S", 0.05)
    writer._commits._take_in_at_s = 0.0
    (tmp_path / "elsewhere").mkdir()
    copy = tmp_path / "elsewhere" / "copy.sqlite"
    with open_reader(path) as reader:  # one that looks on all the time
        append(writer, 0, 100)
        assert reader.count(1) == 100

        def copied(due: int) -> bool:
            shutil.copy(path, copy)
            return count(copy) == due

        until(lambda: copied(100))
        append(writer, 100, 50)
        until(lambda: copied(150))
    with open_reader(copy) as reader:
        assert reader.ended == "hard"
        assert "copied or renamed alone" in reader.end_note
    assert [file.name for file in copy.parent.iterdir()] == [copy.name]


def test_a_log_under_the_first_name_is_found_and_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = killed(tmp_path, 50, 30)
    renamed = path.rename(tmp_path / "b.sqlite")
    (tmp_path / "other.sqlite-wal").write_bytes(b"no log of anyone")
    before = renamed.read_bytes()
    assert count(renamed) == 50
    assert main(["analyze", str(renamed)]) == 0
    said = capsys.readouterr().err
    assert "its last readings (some 10 s) are not in it" in said
    assert "they are in 'a.sqlite-wal' beside it: rename that to 'b.sqlite-wal'" in said
    with pytest.raises(SessionWriteFailed, match=r"rename that to 'b\.sqlite-wal'"):
        add_marker(renamed, "late", time_s=1.0)
    assert renamed.read_bytes() == before
    (tmp_path / "a.sqlite-wal").rename(tmp_path / "b.sqlite-wal")
    assert count(renamed) == 80
    assert main(["analyze", str(renamed)]) == 0
    assert "ended without being closed" in capsys.readouterr().err


def test_a_log_of_another_recording_is_not_taken_for_it(tmp_path: Path) -> None:
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
    one, two = killed(tmp_path / "one", 50, 30), killed(tmp_path / "two", 50, 30)  # alike but for their times
    shutil.copy(f"{two}-wal", tmp_path / "one" / "z.sqlite-wal")
    renamed = one.rename(tmp_path / "one" / "b.sqlite")
    (tmp_path / "one" / "a.sqlite-wal").rename(tmp_path / "kept")
    with open_reader(renamed) as reader:
        assert "put that beside it as 'b.sqlite-wal'" in reader.end_note
        assert "z.sqlite-wal" not in reader.end_note


def test_without_its_log_a_session_of_no_readings_says_where_they_are(tmp_path: Path) -> None:
    copy = shutil.copy(killed(tmp_path, 0, 30), tmp_path / "copy.sqlite")
    Path(f"{tmp_path}/a.sqlite").unlink()
    Path(f"{tmp_path}/a.sqlite-wal").unlink()
    with open_reader(copy) as reader, pytest.raises(EmptySession, match=r"no readings: .* put that beside it"):
        reader.need_readings()


def test_an_empty_log_says_that_it_is_gone_for_good(tmp_path: Path) -> None:
    path = killed(tmp_path, 50, 30)
    Path(f"{path}-wal").write_bytes(b"")
    add_marker(path, "late", time_s=1.0)
    with open_reader(path) as reader:
        assert (reader.ended, reader.count(1)) == ("hard", 50)
        assert reader.end_note.startswith("The recording ended without being closed")


@pytest.mark.skipif(sys.platform == "win32", reason="an open file cannot be renamed there")
def test_a_rename_while_recording_is_noticed_and_nothing_is_lost(
    growing: tuple[Path, SessionWriter], tmp_path: Path
) -> None:
    path, writer = growing
    append(writer, 0, 100)
    renamed = path.rename(tmp_path / "b.sqlite")
    until(lambda: writer.failure is not None)
    assert "removed or moved while it was being recorded: what was written until now is in it" in str(writer.failure)
    with pytest.raises(SessionError):
        writer.close()
    assert count(renamed) == 100
