"""Nothing is lost or doubled, whatever happens while a dataset is made."""

from __future__ import annotations

import errno
import multiprocessing
import os
import subprocess
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import psutil
import pyarrow.parquet as pq
import pytest
from filelock import FileLock

from meterlog.cli import main
from meterlog.errors import DatasetError, SessionBusy
from meterlog.fleet import collect as collecting
from meterlog.fleet import dataset
from meterlog.fleet import extract as extracting
from meterlog.fleet.collect import Collected, collect
from meterlog.fleet.extract import extract
from meterlog.fleet.place import put_in_place
from meterlog.fleet.sources import sources
from meterlog.fleet.work import extracted
from meterlog.loaded import Loaded, load
from meterlog.reading import Quantity, Reading
from meterlog.session.writer import SessionWriter
from tests.fleet.conftest import (
    SESSIONS,
    Write,
    contents,
    fills,
    is_complete,
    kill_in_the_second_round,
    on_call,
    table,
)


def test_a_session_still_recorded_is_read_again_each_time(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    writer = SessionWriter.create(folder / "grows.sqlite")
    try:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        writer.append(channel, [Reading(0.0, 12.0, Quantity.DC_VOLTAGE, 0.01)])
        writer.flush()
        collect([folder], out)
        assert collect([folder], out) == Collected(1, 1, 0, [])
    finally:
        writer.close()
    assert collect([folder], out).read == 1
    assert collect([folder], out).read == 0


def test_a_session_that_changes_while_it_is_read_is_read_again(
    tmp_path: Path, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = write("a", 12.0).parent, tmp_path / "fleet"

    def changes(path: Path) -> Loaded:
        loaded = load(path)
        write("a", 9.0)
        return loaded

    with monkeypatch.context() as patch:
        patch.setattr(extracting, "load", changes)
        assert collect([folder], out).read == 1
    assert collect([folder], out) == Collected(1, 0, 0, [])
    assert is_complete(out, folder)
    assert len(table(out, "sessions")) == 1


def test_a_session_that_another_program_holds_is_tried_again(
    tmp_path: Path, write: Write, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"

    def held(path: Path) -> Loaded:
        raise SessionBusy(f"'{path}' is locked by another program: try again in a moment", str(path))

    with monkeypatch.context() as patch:
        patch.setattr(extracting, "load", held)
        assert len(collect([folder], out).problems) == 1
    assert collect([folder], out) == Collected(1, 0, 0, [])
    assert is_complete(out, folder)


def test_a_full_disk_leaves_the_dataset_as_it_was(
    tmp_path: Path, write: Write, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    collect([folder], out)
    before = contents(out)
    write("a", 9.0)
    writer, seen = pq.ParquetWriter, []

    def fills(*args: object, **options: object) -> object:
        seen.append(contents(out))
        if len(seen) > 3:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return writer(*args, **options)

    with monkeypatch.context() as patch:
        patch.setattr(pq, "ParquetWriter", fills)
        assert main(["collect", str(folder), "--out", str(out)]) == 2
    assert capsys.readouterr().err == (
        f"meterlog: '{out}' cannot be written: {os.strerror(errno.ENOSPC)}; what was in it before still is\n"
    )
    assert [*seen, contents(out)] == [before] * 5  # what a reader saw meanwhile, and sees now
    assert not list(tmp_path.glob(".fleet.part"))
    assert collect([folder], out).read == 1


def test_a_full_disk_in_a_later_round_keeps_those_before(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "fleet"
    monkeypatch.setattr(collecting, "_ROUND", 16)
    with monkeypatch.context() as patch:
        patch.setattr(dataset, "put_in_place", on_call(2, put_in_place, fills))
        assert main(["collect", str(folder), "--out", str(out), "--workers", "1"]) == 2
    assert capsys.readouterr().err.endswith(f"{os.strerror(errno.ENOSPC)}; what was in it before still is\n")
    assert len(table(out, "sessions")) == 16
    assert collect([folder], out, workers=1).read == SESSIONS - 16
    assert is_complete(out, folder)


def test_what_a_kill_left_is_put_right(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    collect([folder], out)
    before = contents(out)
    out.rename(tmp_path / ".fleet.before")  # killed between the two renames
    (tmp_path / ".fleet.part" / "sessions").mkdir(parents=True)
    assert collect([folder], out) == Collected(0, 1, 0, [])
    assert contents(out) == before
    assert sorted(path.name for path in tmp_path.glob(".fleet.*")) == [".fleet.lock"]


def test_one_program_collects_at_a_time(tmp_path: Path, write: Write) -> None:
    folder = write("a").parent
    with FileLock(tmp_path / ".fleet.lock"), pytest.raises(DatasetError, match="another program collects"):
        collect([folder], tmp_path / "fleet")


@pytest.mark.slow
def test_processes_and_rounds_change_nothing(tmp_path: Path, write: Write, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(20):
        write(f"{number:02}", 10.0 + number / 10, month=1 + number % 3)
    folder = tmp_path / "sessions"
    assert collect([folder], tmp_path / "one", workers=1).read == 20
    monkeypatch.setattr(collecting, "_ROUND", 17)
    assert collect([folder], tmp_path / "two", workers=2).read == 20
    assert contents(tmp_path / "one") == contents(tmp_path / "two")


@pytest.mark.slow
def test_the_part_of_a_killed_process_is_done_all_the_same(write: Write) -> None:
    (file,) = sources(str(write("a").parent))
    with ProcessPoolExecutor(1, multiprocessing.get_context("spawn")) as pool:
        assert pool.submit(os._exit, 1).exception() is not None
        assert list(extracted(pool, [[file]])) == [extract([file])]


@pytest.mark.slow
def test_a_kill_loses_nothing_and_leaves_no_process(tmp_path: Path, write: Write) -> None:
    for number in range(40):
        write(f"{number:02}")
    folder, out = tmp_path / "sessions", tmp_path / "fleet"
    words = ["collect", str(folder), "--out", str(out), "--workers", "2"]
    running = subprocess.Popen([sys.executable, "-m", "meterlog", *words], stdout=subprocess.PIPE)
    while not psutil.Process(running.pid).children(recursive=True):
        time.sleep(0.01)
    workers = psutil.Process(running.pid).children(recursive=True)
    running.kill()
    running.communicate(timeout=30)  # every process that held its output has ended
    assert psutil.wait_procs(workers, timeout=30)[1] == []
    assert not out.exists() or len(table(out, "sessions")) == 40
    collect([folder], out, workers=1)
    assert len(table(out, "sessions")) == 40


@pytest.mark.slow
def test_a_kill_in_a_later_round_keeps_those_before_and_doubles_none(tmp_path: Path, folder: Path) -> None:
    out = tmp_path / "fleet"
    kill_in_the_second_round(["collect", str(folder), "--out", str(out), "--workers", "2"])
    assert len(table(out, "sessions")) == 16
    assert collect([folder], out, workers=1).read == SESSIONS - 16
    assert is_complete(out, folder)


@pytest.mark.slow
def test_of_two_collectors_at_once_one_collects_and_nothing_is_doubled(tmp_path: Path, folder: Path) -> None:
    words = [sys.executable, "-m", "meterlog", "collect", str(folder), "--out", str(tmp_path / "fleet")]
    both = [subprocess.Popen(words, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True) for _ in range(2)]
    said = [running.communicate(timeout=120)[1] for running in both]
    codes = [running.returncode for running in both]
    assert 0 in codes
    for code, words_of_it in zip(codes, said, strict=True):
        assert (code == 0 and not words_of_it) or (code == 2 and "another program collects" in words_of_it)
    assert is_complete(tmp_path / "fleet", folder)
