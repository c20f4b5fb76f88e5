"""An archived session stays in the dataset, under the name that it had."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import fsspec
import pytest

from meterlog.archive import archived, bring_back, find_old, put_away
from meterlog.cli import main
from meterlog.fleet.collect import Collected, collect
from meterlog.job.job_file import add_step, create_job
from meterlog.session.folder_index import summaries
from tests.fleet.conftest import Write, contents, table

OLD_DAYS = 30
NOW = datetime(2026, 12, 1, tzinfo=UTC)


def archive(folder: Path) -> None:
    """Put all sessions of a folder away."""
    old, left = find_old(folder, summaries(folder), OLD_DAYS, NOW)
    assert old
    assert not left
    for one in old:
        put_away(one)


def rows(dataset: Path) -> dict[str, str]:
    """Return all tables as text, without the fingerprints, which tell that a file was packed."""
    return {
        name: text if "fingerprint" not in text else table(dataset, name).drop(columns="fingerprint").to_csv()
        for name, text in contents(dataset).items()
    }


def test_archiving_and_bringing_back_change_nothing(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    write("b", 10.0, month=2)
    collect([folder], out)
    before = rows(out)
    assert before["sessions"].count("2026-0") >= 2
    archive(folder)
    assert not list(folder.glob("*.sqlite"))
    assert collect([folder], out) == Collected(2, 0, 0, [])
    assert collect([folder], out) == Collected(0, 2, 0, [])
    assert rows(out) == before
    bring_back(folder, "a.sqlite")
    assert collect([folder], out) == Collected(1, 1, 0, [])
    assert rows(out) == before
    collect([folder / "archive"], tmp_path / "alone")
    assert list(table(tmp_path / "alone", "sessions")["session"]) == [str(folder / "b.sqlite")]


def test_sessions_that_had_one_name_are_told_apart(tmp_path: Path, write: Write) -> None:
    folder, out = write("crank", 9.0).parent, tmp_path / "fleet"
    archive(folder)
    write("crank", 10.0, month=2)
    archive(folder)
    write("crank", 11.0, month=3)
    assert collect([folder], out) == Collected(3, 0, 0, [])
    measures = table(out, "measures").query("measure == 'prime level'").set_index("session")["value"]
    packed = [folder / "archive" / month / "crank.sqlite.gz" for month in ("2026-01", "2026-02")]
    assert dict(measures.round()) == {str(packed[0]): 9, str(packed[1]): 10, str(folder / "crank.sqlite"): 11}


def test_a_damaged_packed_session_is_a_problem_under_its_own_path(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    write("b")
    archive(folder)
    torn, _ = archived(folder)
    torn.write_bytes(torn.read_bytes()[:-200])
    ((session, problem),) = collect([folder], out).problems
    assert session == str(folder / "a.sqlite")
    assert problem.startswith(f"'{torn}' is damaged and cannot be unpacked")
    assert list(table(out, "sessions")["session"]) == [str(folder / "b.sqlite")]


def test_known_good_that_were_archived_since_are_unpacked(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    write("b", 11.9)
    suspect = write("c", 9.0).rename(tmp_path / "suspect.sqlite")
    collect([folder], out)
    words = ["compare", "--good", str(out), str(suspect), "--json"]
    assert main(words) == 0
    before = json.loads(capsys.readouterr().out)
    archive(folder)
    assert main(words) == 0
    after = json.loads(capsys.readouterr().out)
    assert after == before
    assert before["good"] == [str(folder / "a.sqlite"), str(folder / "b.sqlite")]


def test_what_the_archive_holds_besides_sessions_is_passed_over(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    (folder / "a.meter1.raw").write_bytes(b"raw")
    archive(folder)
    month = folder / "archive" / "2026-01"
    assert (month / "a.meter1.raw.gz").exists()
    (month / ".b.sqlite.gz.12.part").write_bytes(b"half")
    (folder / "notes.gz").write_bytes(b"no archive")
    assert collect([folder], out) == Collected(1, 0, 0, [])


def test_a_closed_job_keeps_its_sessions(tmp_path: Path, write: Write) -> None:
    job = tmp_path / "sessions" / "job-1"
    create_job(job, complaint="no start", vehicle="van 7", meters=(), tool="", details={})
    write("a").rename(job / "a.sqlite")
    add_step(job, "measured", {"quantity": "dc_voltage", "at": "feed", "value": 12.0, "session": "a.sqlite"})
    add_step(job, "closed", {"reason": "done"})
    archive(job)
    out = tmp_path / "fleet"
    collect([tmp_path / "sessions"], out)
    (row,) = table(out, "jobs").to_dict("records")
    assert list(row["sessions"]) == list(table(out, "sessions")["session"]) == [str(job / "a.sqlite")]


def test_an_archive_on_object_storage_is_collected_too(tmp_path: Path, write: Write) -> None:
    folder = write("a").parent
    write("crank", 9.0)
    archive(folder)
    write("crank", 11.0, month=2)
    (folder / "archive" / "2026-01" / "torn.sqlite.gz").write_bytes(b"torn")
    memory = fsspec.filesystem("memory")
    memory.put(str(folder), "/archived/", recursive=True)
    try:
        done = collect(["memory://archived/sessions"], tmp_path / "far", workers=1)
    finally:
        memory.rm("/archived", recursive=True)
    top = "memory://archived/sessions"
    assert list(table(tmp_path / "far", "sessions")["session"]) == [
        f"{top}/a.sqlite", f"{top}/archive/2026-01/crank.sqlite.gz", f"{top}/crank.sqlite",
    ]  # fmt: skip
    ((session, problem),) = done.problems
    assert session == f"{top}/torn.sqlite"
    assert problem.startswith(f"'{session}' is damaged and cannot be unpacked")


@pytest.mark.parametrize("readings", [False, True])
def test_archived_readings_are_collected_as_others(tmp_path: Path, write: Write, readings: bool) -> None:
    folder = write("a").parent
    collect([folder], tmp_path / "before", readings=readings)
    archive(folder)
    collect([folder], tmp_path / "after", readings=readings)
    assert rows(tmp_path / "after") == rows(tmp_path / "before")
