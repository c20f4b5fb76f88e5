"""A few of the hostile sessions, judged as `tests.bench.hostile` judges all of them through every command."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

import pytest

from tests.faults.conftest import command
from tests.faults.hostile import HOSTILE

QUICK = (
    "a journal that names a file elsewhere",
    "link as recorder",
    "link as wal",
    "pipe as recorder",
    "the session is a pipe",
    "a trigger on markers",
    "an endless view for the recording",
    "a circle of pages in marker",
    "numbers of 2 GB, layout 255",
    "a chunk at 2**60",
    "an accuracy of 1e308",
    "a date in the year 9999",
)


@pytest.mark.skipif(sys.platform == "win32", reason="links and pipes as POSIX has them")
@pytest.mark.parametrize("name", QUICK)
def test_a_hostile_session_is_one_sentence_and_touches_nothing_else(name: str, good: Path, tmp_path: Path) -> None:
    folder, canary = tmp_path / "sessions", tmp_path / "notes.txt"
    folder.mkdir()
    canary.write_text("precious")
    sound = Path(shutil.copy(good, folder / "sound.sqlite"))
    path = Path(shutil.copy(good, folder / "x.sqlite"))
    HOSTILE[name](path, canary)
    for words in (("analyze", path), ("mark", path, "x", "--at", "5"), ("export", path, "--out", tmp_path / "o.csv")):
        said = command(*words)
        if words[0] != "mark" or said.status:  # a marker needs nothing of the readings
            assert (said.status, said.err.count("\n")) == (2, 1), (words[0], said)
    listed = command("sessions", folder)
    assert listed.status == 0
    assert sound.name in listed.out
    assert canary.read_text() == "precious"
    assert sorted(file.name for file in tmp_path.iterdir()) == ["notes.txt", "sessions"]
