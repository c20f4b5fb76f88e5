"""Killed at any moment, a piece of work leaves what was there before or what it was to make, never half of it."""

from __future__ import annotations

import random
import shutil
import sqlite3
from pathlib import Path

import pytest

from meterlog.errors import NotASession
from meterlog.session import open_reader
from meterlog.session.model import HARD_END
from tests.faults.conftest import Killing, command
from tests.faults.victims import MARKERS

OUTPUTS = {"export_csv": "out.csv", "export_parquet": "out.parquet", "import_csv": "out.sqlite", "report": "out.html"}

MOMENTS = {
    "record": 4,
    "seal": 3,
    "create": 14,
    "mark": 47,
    "export_csv": 12,
    "export_parquet": 6,
    "import_csv": 8,
    "report": 6,
}
"""A hundred in all."""


def check_whole(path: Path) -> None:
    """One plain file, which SQLite finds sound."""
    connection = sqlite3.connect(path)
    assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    connection.close()
    assert [file.name for file in path.parent.glob(f"{path.name}*")] == [path.name]


def check_recording(folder: Path) -> str:
    """Return what was acknowledged is there, in order; what was given half a second before the end too; the end is
    told."""
    path, log = folder / "a.sqlite", folder / "log"
    told = command("analyze", path)  # SQLite has now undone a file that was only half made
    if not path.exists() or not path.stat().st_size:
        assert not log.exists() or not log.stat().st_size  # nothing was given before the file was made
        assert ("its recording never began" if path.exists() else "there is no file") in told.err
        return "nothing"
    lines = [line.split() for line in log.read_text().splitlines()]
    kept = max((int(line[1]) for line in lines if line[0] == "kept"), default=0)
    given = [(int(line[1]), float(line[2])) for line in lines if line[0] == "given"]
    due = max((count for count, time_s in given if time_s < given[-1][1] - 0.5), default=0)
    listed = command("sessions", folder).out
    with open_reader(path) as reader:
        values = reader.series(1).value.tolist() if reader.channels else []
        ended = reader.ended
    assert values == list(map(float, range(len(values))))
    assert len(values) >= max(kept, due)
    if ended == "clean":  # it had come to its end before it was killed
        assert len(values) == given[-1][0]
        assert HARD_END not in told.err
    else:
        assert "hard (crash)" in listed
        assert (HARD_END if values else "holds no readings") in told.err
    check_whole(path)
    return f"{'ended by itself' if ended == 'clean' else 'hard end told'}, {'all acknowledged' if kept else 'whole'}"


def check_created(folder: Path) -> str:
    """Each file is a session or an empty file that is said to be one."""
    said = "whole"
    empty = " is empty: it is no session, or its recording never began"
    for path in folder.glob("*.sqlite"):
        try:
            open_reader(path).close()
            check_whole(path)
        except NotASession as refused:
            said = str(refused).rpartition("'")[2]
            assert not path.stat().st_size
        assert said in ("whole", empty)
    return said.removeprefix(" ")


def check_marked(folder: Path) -> str:
    """Every marker up to one, none by half, and every reading."""
    path = folder / "a.sqlite"
    assert command("analyze", path).status == 0
    with open_reader(path) as reader:
        names = [marker.name for marker in reader.markers if marker.name.startswith("marker")]
        assert names == [f"marker {i}" for i in range(len(names))]
        assert reader.count(1) == 3000
        assert reader.ended == "clean"
    check_whole(path)
    return "all markers" if len(names) == MARKERS else "the first markers"


def check_output(folder: Path, work: str, whole: Path) -> str:
    """The file is there whole or not at all, and making it again needs no tidying up."""
    out = folder / OUTPUTS[work]
    if not out.exists():
        visible = {file.name for file in folder.iterdir() if not file.name.startswith(".")}
        assert visible <= {"a.sqlite", "in.csv", "said"}
        begun = any(file.name.startswith(".") and file.stat().st_size for file in folder.iterdir())
        return "not there, half of it under a hidden name" if begun else "not there"
    if work == "import_csv":
        with open_reader(out) as reader:
            assert reader.count(1) == 3000
            assert reader.ended == "clean"
    elif work == "report":  # it names the moment at which it was made
        assert out.read_bytes().rstrip().endswith(b"</html>")
        assert abs(out.stat().st_size - (whole / out.name).stat().st_size) < 200
    else:
        assert out.read_bytes() == (whole / out.name).read_bytes()
    return "whole"


def killed(killing: Killing, good: Path, base: Path, work: str, moments: int, seed: int) -> dict[str, int]:
    """Kill the work at seeded moments; how often each was left."""
    rng = random.Random(f"{work} {seed}")
    whole = prepared(base / f"{work}-whole", work, good, killing)
    whole_s = killing.run(work, whole)
    left: dict[str, int] = {}
    for i in range(moments):
        folder = prepared(base / f"{work}-{i}", work, good, killing)
        killing.run(work, folder, rng.uniform(0.0, 1.3 * whole_s))
        if work in ("record", "seal"):
            found = check_recording(folder)
        elif work == "create":
            found = check_created(folder)
        elif work == "mark":
            found = check_marked(folder)
        else:
            found = check_output(folder, work, whole)
        left[found] = left.get(found, 0) + 1
        shutil.rmtree(folder)
    return left


def prepared(folder: Path, work: str, good: Path, killing: Killing) -> Path:
    """A folder with what the work needs."""
    folder.mkdir()
    if work == "import_csv":
        table = folder.parent / "in.csv"
        if not table.exists():
            first = prepared(folder.parent / "first", "export_csv", good, killing)
            killing.run("export_csv", first)
            (first / "out.csv").rename(table)
        shutil.copy(table, folder / "in.csv")
    elif work not in ("record", "seal", "create"):
        shutil.copy(good, folder / "a.sqlite")
    return folder


@pytest.mark.parametrize("work", MOMENTS)
def test_killed_work_leaves_all_or_nothing(work: str, killing: Killing, good: Path, tmp_path: Path) -> None:
    left = killed(killing, good, tmp_path, work, MOMENTS[work], seed=1)
    assert sum(left.values()) == MOMENTS[work]


def test_work_cut_short_is_done_again_without_tidying_up(killing: Killing, good: Path, tmp_path: Path) -> None:
    folder = prepared(tmp_path / "a", "export_csv", good, killing)
    whole_s = killing.run("export_csv", folder)
    whole = (folder / "out.csv").read_bytes()
    (folder / "out.csv").unlink()
    for share in (0.5, 0.7, 0.9):
        killing.run("export_csv", folder, share * whole_s)
    (folder / "out.csv").unlink(missing_ok=True)
    killing.run("export_csv", folder)
    assert (folder / "out.csv").read_bytes() == whole
