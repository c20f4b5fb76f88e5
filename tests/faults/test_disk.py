"""A full disk and a read-only folder: one line says so, nothing half is left, and what was recorded is kept."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.model import HARD_END
from tests.faults.conftest import command

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="the limits are POSIX ones")


@contextmanager
def no_file_larger(size: int) -> Iterator[None]:
    """As a disk with so much room: the system refuses to let any file grow beyond it."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    ignored = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, ignored)


@contextmanager
def small_disk(folder: Path, size: int) -> Iterator[None]:
    """A disk of its own with so many bytes, at the folder; wants the superuser."""
    options = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)]
    if os.geteuid() or subprocess.run(options, capture_output=True, check=False).returncode:
        pytest.skip("this needs the right to mount")
    try:
        yield
    finally:
        subprocess.run(["umount", str(folder)], check=True)


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """A folder in which nothing can be made or changed; for the superuser that takes a mount of its own."""
    if os.geteuid() == 0:
        bound = subprocess.run(["mount", "--bind", folder, folder], capture_output=True, check=False)
        if bound.returncode:
            pytest.skip("as superuser this needs the right to mount")
        subprocess.run(["mount", "-o", "remount,ro,bind", folder], check=True)
        try:
            yield
        finally:
            subprocess.run(["umount", folder], check=True)
    else:
        folder.chmod(0o555)
        try:
            yield
        finally:
            folder.chmod(0o755)


def refused(capsys: pytest.CaptureFixture[str], *words: object) -> str:
    """The one line with which a command refuses."""
    capsys.readouterr()
    assert main([str(word) for word in words]) == 2
    said = capsys.readouterr().err
    lines = [line for line in said.splitlines() if line.startswith("meterlog: ")]
    assert len(lines) == 1, said
    assert "Traceback" not in said
    assert ".part" not in lines[0]
    return lines[0]


MAKING = {
    "x.csv": ("export", "a.sqlite", "--out"),
    "x.parquet": ("export", "a.sqlite", "--out"),
    "x.html": ("report", "a.sqlite", "--out"),
    "x.sqlite": ("import", "a.csv", "--out"),
    "y.sqlite": ("record", "--plain", "--quiet", "--for", "1", "--meter", "sim:healthy-prime", "--out"),
}


@pytest.fixture
def folder(good: Path, tmp_path: Path) -> Path:
    """A folder with a session and its table."""
    shutil.copy(good, tmp_path / "a.sqlite")
    assert main(["export", str(good), "--out", str(tmp_path / "a.csv")]) == 0
    return tmp_path


@pytest.mark.parametrize("name", MAKING)
def test_a_full_disk_leaves_nothing_half_made(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    with no_file_larger(8_000):
        said = refused(capsys, *MAKING[name], folder / name)
    assert "cannot be written" in said or "full" in said
    assert "kept" not in said  # nothing was
    assert sorted(path.name for path in folder.iterdir()) == ["a.csv", "a.sqlite"]


@pytest.mark.parametrize("name", MAKING)
def test_a_read_only_folder_is_said(
    name: str, folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(folder)
    with read_only(folder):
        said = refused(capsys, *MAKING[name], folder / name)
        assert "cannot be written" in said
        assert sorted(path.name for path in folder.iterdir()) == ["a.csv", "a.sqlite"]


def test_an_import_that_the_disk_cuts_short_is_said_under_its_own_name(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with no_file_larger(60_000):
        said = refused(capsys, "import", folder / "a.csv", "--out", folder / "x.sqlite")
    assert "'" + str(folder / "x.sqlite") + "'" in said
    assert "no session was made" in said
    assert sorted(path.name for path in folder.iterdir()) == ["a.csv", "a.sqlite"]


def test_a_session_in_a_read_only_folder_is_read_and_cannot_be_marked(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with read_only(folder):
        assert main(["analyze", str(folder / "a.sqlite")]) == 0
        assert main(["sessions", str(folder)]) == 0
        assert "read-only" in refused(capsys, "mark", folder / "a.sqlite", "x", "--at", "1")
    with open_reader(folder / "a.sqlite") as reader:
        assert len(reader.markers) == 2


def test_a_marker_on_a_full_disk_is_refused_and_the_session_stays(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    before = (folder / "a.sqlite").read_bytes()
    with no_file_larger(100):
        refused(capsys, "mark", folder / "a.sqlite", "x", "--at", "1")
    open_reader(folder / "a.sqlite").close()
    assert (folder / "a.sqlite").read_bytes() == before


def test_results_that_cannot_be_printed_are_one_line(folder: Path) -> None:
    if not Path("/dev/full").exists():
        pytest.skip("the system has no /dev/full")
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-c", "from meterlog.cli import main; raise SystemExit(main())", "analyze", "a.sqlite"],
            cwd=folder,
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr == "meterlog: the operating system reports: No space left on device\n"


def recorded_until_full(path: Path, disk: AbstractContextManager[None]) -> tuple[int, str]:
    """Record until the disk is full; the readings called kept, and what is said."""
    writer = SessionWriter.create(path)
    channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
    writer.flush()
    kept, give_up_s = 0, time.monotonic() + 60
    with disk:
        try:
            while time.monotonic() < give_up_s:
                start_s = writer.monotonic_start_s + kept
                writer.append(channel, [Reading(start_s + k, float(k % 7), Quantity.DC_VOLTAGE) for k in range(500)])
                writer.flush()
                kept += 500
        except OSError as error:
            try:
                writer.close()
            except OSError as again:
                return kept, f"{error}" if str(again) == str(error) else f"{error} / {again}"
    raise AssertionError("the disk was never full")


def test_what_was_recorded_before_the_disk_was_full_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    kept, said = recorded_until_full(path, no_file_larger(400_000))
    assert "what was written until now is kept in it" in said
    with open_reader(path) as reader:
        assert reader.count(1) >= kept > 0
        assert reader.ended == "hard"
    assert [file.name for file in tmp_path.iterdir()] == ["a.sqlite"]


def filled(folder: Path, size: int) -> tuple[int, int, str]:
    """Fill a small disk with a recording, read it there, then with more room; what is kept, found and said."""
    path = folder / "a.sqlite"
    with small_disk(folder, size):
        kept, said = recorded_until_full(path, nullcontext())
        assert "is full: what was written until now is kept in it" in said
        assert "hard (crash)" in command("sessions", folder).out
        told = command("analyze", path)  # there is no room to take the log into the file: it is read where it is
        assert (told.status, HARD_END in told.err) == (0, True)
        with open_reader(path) as reader:
            assert (reader.ended, reader.count(1) >= kept) == ("hard", True)
        subprocess.run(["mount", "-o", f"remount,size={4 * size}", str(folder)], check=True)
        with open_reader(path) as reader:
            found = reader.count(1)
        assert [file.name for file in folder.iterdir()] == ["a.sqlite"]
    return kept, found, said


def test_a_small_disk_that_is_full_is_read_as_it_is_and_tidied_up_when_there_is_room(tmp_path: Path) -> None:
    kept, found, _ = filled(tmp_path, 700_000)
    assert found >= kept > 0


def test_the_record_command_on_a_disk_that_fills_says_so_and_keeps_it(tmp_path: Path) -> None:
    path = tmp_path / "a.sqlite"
    with small_disk(tmp_path, 1_000_000):
        done = subprocess.run(
            [sys.executable, "-m", "meterlog", "record", "--plain", "--quiet", "--out", str(path), "--for", "30",
             "--meter", "sim:intermittent-feed?loop=yes&interval_s=0.01&speed=20"],
            capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode == 2
        said = [line for line in done.stderr.splitlines() if line.startswith("meterlog: ")]
        assert said == [f"meterlog: the disk that holds '{path}' is full: what was written until now is kept in it"]
        with open_reader(path) as reader:
            assert reader.count(1) > 0
            assert reader.ended == "hard"


def test_a_crashed_session_on_a_medium_that_cannot_be_written_is_read_as_it_is_or_says_what_to_do(
    tmp_path: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path, growing = tmp_path / "a.sqlite", tmp_path_factory.mktemp("growing") / "a.sqlite"
    with SessionWriter.create(growing) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(writer.monotonic_start_s, 12.4, Quantity.DC_VOLTAGE)])
        writer.flush()
        for ending in ("", "-wal", "-shm"):  # what a recorder that is killed leaves
            shutil.copy(f"{growing}{ending}", f"{path}{ending}")
    before = sorted(file.name for file in tmp_path.iterdir())
    with read_only(tmp_path):
        told = command("analyze", path)
        assert (told.status, HARD_END in told.err) == (0, True)
        assert sorted(file.name for file in tmp_path.iterdir()) == before
    path.with_name("a.sqlite-shm").unlink()  # as after a copy of only some of the files
    with read_only(tmp_path):
        told = command("analyze", path)
        assert told.status == 2
        assert "copy it, with the files named like it, to a folder that can be written" in told.err
    with open_reader(path) as reader:
        assert reader.count(1) > 0
        assert reader.ended == "hard"
