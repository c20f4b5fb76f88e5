"""A power cut while recording: whatever of the log had reached the disk, the session opens, whole up to there."""

from __future__ import annotations

import random
import shutil
import sqlite3
import struct
from pathlib import Path

import pytest

from meterlog.cli.main import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from meterlog.session.commits import PAGE_BYTES

COMMITS, A_COMMIT = 60, 50
_FRAME_HEADER = 24
TAKEN_IN_BYTES = 1000 * (PAGE_BYTES + _FRAME_HEADER)
"""From this size of the log on SQLite takes it into the file by itself."""


def grown(folder: Path) -> tuple[Path, list[int]]:
    """A session and its log as they lie on the disk while it grows, and the log's size after each commit."""
    path, copy = folder / "a.sqlite", folder / "cut.sqlite"
    sizes = []
    with SessionWriter.create(path) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        for commit in range(COMMITS):
            first = commit * A_COMMIT
            readings = [
                Reading(writer.monotonic_start_s + i * 0.01, float(i), Quantity.DC_VOLTAGE, 1.0)
                for i in range(first, first + A_COMMIT)
            ]
            writer.append(channel, readings)
            writer.flush()
            sizes.append(Path(f"{path}-wal").stat().st_size)
        shutil.copy(path, copy)
        shutil.copy(f"{path}-wal", f"{copy}-wal")
    return copy, sizes


@pytest.fixture(scope="module")
def growing(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[int]]:
    """See `grown`."""
    return grown(tmp_path_factory.mktemp("growing"))


def cut(source: Path, at: int, folder: Path, rng: random.Random, *, torn: bool) -> Path:
    """A copy whose log ends at a byte; or whose blocks after it came to the disk in no order, as `torn`."""
    folder.mkdir()
    path = folder / "a.sqlite"
    shutil.copy(source, path)
    log = Path(f"{source}-wal").read_bytes()
    tail = bytearray(log[at:])
    if torn:
        for start in range(0, len(tail), 512):
            if rng.random() < 0.5:
                tail[start : start + 512] = bytes(len(tail[start : start + 512]))
    Path(f"{path}-wal").write_bytes(log[:at] + (bytes(tail) if torn else b""))
    return path


def survivors(path: Path) -> list[float]:
    """Return what opens after the cut, checked to be sound and brought to rest in one file."""
    with open_reader(path) as reader:
        assert reader.ended == "hard"
        values = reader.series(1).value.tolist() if reader.channels else []
    assert values == list(map(float, range(len(values))))
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    return values


def power_cuts(growing: tuple[Path, list[int]], base: Path, cuts: int, seed: int) -> int:
    """Cut at so many seeded moments; the readings lost that a commit had acknowledged (must be 0)."""
    source, sizes = growing
    rng = random.Random(seed)
    size = Path(f"{source}-wal").stat().st_size
    lost = 0
    for i in range(cuts):
        at = rng.randrange(0, size)
        path = cut(source, at, base / str(i), rng, torn=bool(i % 2))
        acknowledged = A_COMMIT * sum(done <= at for done in sizes)
        lost += max(0, acknowledged - len(survivors(path)))
        shutil.rmtree(path.parent)
    return lost


def test_a_log_cut_anywhere_loses_nothing_acknowledged(growing: tuple[Path, list[int]], tmp_path: Path) -> None:
    assert growing[1][-1] < TAKEN_IN_BYTES, "the log was never started over, so that the sizes mean what they say"
    assert power_cuts(growing, tmp_path, 30, seed=1) == 0


def half_taken_in(source: Path, folder: Path, rng: random.Random) -> Path:
    """A copy that lost its power while the log was being taken into the file: the log whole, the file in between.

    Of the file's sectors some are old, some new, and its end may be short; SQLite empties a log only after the file
    is safely on the disk, so the log is all there.
    """
    folder.mkdir()
    path = folder / "a.sqlite"
    old, log = source.read_bytes(), Path(f"{source}-wal").read_bytes()
    (folder / "after.sqlite").write_bytes(old)
    Path(f"{folder}/after.sqlite-wal").write_bytes(log)
    connection = sqlite3.connect(folder / "after.sqlite")
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.close()
    new = (folder / "after.sqlite").read_bytes()
    for left in folder.glob("after.sqlite*"):
        left.unlink()
    mixed = bytearray(old.ljust(len(new), b"\0"))
    for start in range(0, len(new), 512):
        if rng.random() < 0.5:
            mixed[start : start + 512] = new[start : start + 512]
    path.write_bytes(mixed[: rng.randrange(len(old), len(new) + 1)])
    Path(f"{path}-wal").write_bytes(log)
    return path


def half_taken_ins(growing: tuple[Path, list[int]], base: Path, cuts: int, seed: int) -> int:
    """Cut so often while the log is taken in; the readings lost (must be 0)."""
    rng, lost = random.Random(seed), 0
    for i in range(cuts):
        path = half_taken_in(growing[0], base / str(i), rng)
        lost += COMMITS * A_COMMIT - len(survivors(path))
        shutil.rmtree(path.parent)
    return lost


def test_a_file_that_was_just_taking_in_its_log_loses_nothing(growing: tuple[Path, list[int]], tmp_path: Path) -> None:
    assert half_taken_ins(growing, tmp_path, 10, seed=1) == 0


def test_a_log_that_never_reached_the_disk_leaves_an_honest_empty_session(
    growing: tuple[Path, list[int]], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = cut(growing[0], 0, tmp_path / "a", random.Random(1), torn=False)
    assert main(["sessions", str(path.parent)]) == 0
    assert "hard (crash)" in capsys.readouterr().out
    assert survivors(path) == []
    assert main(["report", str(path), "--out", str(tmp_path / "x.html")]) == 2
    assert "holds no readings" in capsys.readouterr().err


def test_the_log_of_another_file_is_not_taken_for_this_ones(
    growing: tuple[Path, list[int]], good: Path, tmp_path: Path
) -> None:
    path = tmp_path / "a.sqlite"
    shutil.copy(good, path)
    log = bytearray(Path(f"{growing[0]}-wal").read_bytes())
    salt = struct.unpack_from(">I", log, 16)[0]
    struct.pack_into(">I", log, 16, salt ^ 1)  # every frame's salt differs from the header's now
    Path(f"{path}-wal").write_bytes(log[: 32 + 5 * (_FRAME_HEADER + PAGE_BYTES)])
    with open_reader(path) as reader:
        assert reader.count(1) == 3000
        assert reader.ended == "clean"
