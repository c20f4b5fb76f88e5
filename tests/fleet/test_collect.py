"""A dataset holds what its sessions show, whatever happens while it is made."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from meterlog.analysis import Analysis
from meterlog.cli import main
from meterlog.errors import DatasetError
from meterlog.fleet import collect as collecting
from meterlog.fleet.collect import Collected, collect
from meterlog.fleet.dataset import held_by_tables
from meterlog.fleet.manifest import FOLDER, NAME, read_held
from meterlog.fleet.tables import TABLES, VERSION_KEY, partition
from meterlog.job.job_file import add_step, create_job
from meterlog.loaded import load
from tests.fleet.conftest import Write, contents, is_complete, table

MANUAL = Path(collecting.__file__).with_name("README.md")


def test_each_table_says_what_the_session_shows(tmp_path: Path, write: Write) -> None:
    path = write("a", 11.5, month=3)
    out = tmp_path / "fleet"
    assert main(["collect", str(path.parent), "--out", str(out)]) == 0
    analysis: Analysis = load(path).analysis
    (session,) = table(out, "sessions").to_dict("records")
    assert (session["session"], session["vehicle"], session["month"]) == (str(path), "van a", "2026-03")
    assert (session["system_v"], session["temperature_c"], session["ended"]) == (12.0, -5.0, "clean")
    assert (session["started_at"], session["readings"]) == (analysis.started_at, 32)
    assert list(table(out, "events")["kind"]) == [event.kind for event in analysis.events]
    assert list(table(out, "findings")["text"]) == [finding.text for finding in analysis.findings]
    assert list(table(out, "markers")["name"]) == ["key-on"]
    assert list(table(out, "channels")["median"]) == [analysis.channels[0].statistics.median]
    assert table(out, "problems").empty
    measures = table(out, "measures").set_index("measure")
    level, duration = measures.loc["prime level"], measures.loc["prime duration"]
    assert abs(level["value"] - 11.5) <= level["error"] < 0.2
    assert abs(duration["value"] - 2.0) <= duration["error"] < 0.5
    assert (level["unit"], duration["unit"], level["vehicle"], level["temperature_c"]) == ("V", "s", "van a", -5.0)


def test_a_dataset_brought_up_to_date_is_the_same_as_a_new_one(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    write("b", month=2)
    gone = write("c", month=2)
    assert collect([folder], out) == Collected(3, 0, 0, [])
    untouched = next((out / "measures" / "month=2026-01").rglob("*.parquet"))
    before = untouched.stat().st_ino
    assert collect([folder], out) == Collected(0, 3, 0, [])
    write("b", 10.0, month=4)  # another file under the same name, of another month
    write("d", month=5)
    gone.unlink()
    assert collect([folder], out) == Collected(2, 1, 1, [])
    collect([folder], tmp_path / "new")
    assert contents(out) == contents(tmp_path / "new")
    assert set(table(out, "sessions")["month"]) == {"2026-01", "2026-04", "2026-05"}
    assert untouched.stat().st_ino == before


def test_few_that_come_leave_the_files_of_many_as_they_are(tmp_path: Path, write: Write) -> None:
    for number in range(8):
        write(f"{number:02}")
    folder, out = tmp_path / "sessions", tmp_path / "fleet"
    collect([folder], out)
    (many,) = (out / "sessions").rglob("*.parquet")
    counts = []
    for number in range(8, 16):
        write(f"{number:02}")
        assert collect([folder], out).read == 1
        assert many.exists() == (number < 15)  # until those that came are as many
        counts.append(sum(1 for _ in (out / "sessions").rglob("*.parquet")))
    assert counts == [2, 2, 3, 2, 3, 3, 4, 1]
    assert is_complete(out, folder)


def test_sessions_of_another_folder_stay(tmp_path: Path, write: Write) -> None:
    first, out = write("a").parent, tmp_path / "fleet"
    collect([first], out)
    second = tmp_path / "second" / "inside"
    second.mkdir(parents=True)
    write("b").rename(second / "b.sqlite")
    assert collect([tmp_path / "second"], out) == Collected(1, 0, 0, [])
    assert len(table(out, "sessions")) == 2


def test_a_damaged_session_is_a_row_and_no_end(
    tmp_path: Path, write: Write, capsys: pytest.CaptureFixture[str]
) -> None:
    good, out = write("a"), tmp_path / "fleet"
    broken = good.with_name("broken.sqlite")
    broken.write_bytes(b"no session at all")
    write("odd", system_v="17")
    assert main(["collect", str(good.parent), "--out", str(out)]) == 0
    shown = capsys.readouterr().out
    assert "3 sessions read" in shown
    assert str(broken) in shown
    problems = table(out, "problems").set_index("session")["problem"]
    assert list(problems.index) == [str(broken), str(good.with_name("odd.sqlite"))]
    assert "17 V" in problems.iloc[1]
    assert list(table(out, "sessions")["session"]) == [str(good)]
    write("broken")
    assert collect([good.parent], out).read == 1
    assert list(table(out, "problems")["session"]) == [str(good.with_name("odd.sqlite"))]


def test_what_is_no_dataset_is_never_written_over(tmp_path: Path, write: Write) -> None:
    folder, mine = write("a").parent, tmp_path / "mine"
    mine.mkdir()
    (mine / "notes.txt").write_text("dear diary")
    with pytest.raises(DatasetError, match=r"holds 'notes\.txt'"):
        collect([folder], mine)
    with pytest.raises(DatasetError, match="is a file"):
        collect([folder], mine / "notes.txt")
    (mine / ".notes.txt.lock").unlink()
    assert (mine / "notes.txt").read_text() == "dear diary"
    foreign = mine / "sessions" / "month=2026-01" / "vehicle_kind=unknown" / "0123abcd.parquet"
    (mine / "notes.txt").unlink()
    foreign.parent.mkdir(parents=True)
    pd.DataFrame({"session": ["x"]}).to_parquet(foreign)
    with pytest.raises(DatasetError, match="no dataset that 'meterlog collect' made"):
        collect([folder], mine)
    foreign.write_bytes(b"PAR1 and then nothing")
    with pytest.raises(DatasetError, match="is damaged"):
        collect([folder], mine)


def test_a_dataset_of_another_version_is_refused_and_left_as_it_is(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    old = out / "sessions" / "month=2026-01" / "0123abcd.parquet"
    old.parent.mkdir(parents=True)
    schema = pa.schema([("session", pa.string()), ("fingerprint", pa.string())], metadata={VERSION_KEY: b"1"})
    pq.write_table(schema.empty_table(), old)
    before = old.read_bytes()
    with pytest.raises(DatasetError, match="of another version of meterlog: collect into a new one"):
        collect([folder], out)
    assert old.read_bytes() == before


def test_an_empty_folder_does_not_empty_the_dataset(tmp_path: Path, write: Write) -> None:
    path, out = write("a"), tmp_path / "fleet"
    collect([path.parent], out)
    path.unlink()
    with pytest.raises(DatasetError, match="no sessions in"):
        collect([path.parent], out)
    with pytest.raises(DatasetError, match="no folder"):
        collect([tmp_path / "nowhere"], out)
    assert len(table(out, "sessions")) == 1


def test_a_job_is_a_row_with_what_was_put_right(tmp_path: Path) -> None:
    folder, out = tmp_path / "sessions" / "job-1", tmp_path / "fleet"
    kind = {"vehicle_kind": "Panel Van"}
    create_job(folder, complaint="no start", vehicle="van 7", meters=(), tool="", details=kind)
    add_step(folder, "repaired", {"part": "relay", "price": 12.5, "minutes": 10})
    assert collect([tmp_path / "sessions"], out) == Collected(1, 0, 0, [])
    add_step(folder, "repaired", {"part": "ground", "minutes": 5})
    assert collect([tmp_path / "sessions"], out).read == 1
    (job,) = table(out, "jobs").to_dict("records")
    assert (job["job"], job["vehicle"], job["vehicle_kind"]) == (str(folder), "van 7", "panel-van")
    assert (list(job["repaired"]), job["price"], job["minutes"]) == (["relay", "ground"], 12.5, 15)
    assert job["opened_at"].year >= 2026
    (folder / "job.toml").write_text("format = 'none'")
    ((session, problem),) = collect([tmp_path / "sessions"], out).problems
    assert session == str(folder)
    assert "'format' must be" in problem
    assert table(out, "jobs").empty


def test_readings_are_there_once_asked_for_and_stay(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    collect([folder], out)
    assert table(out, "readings").empty
    assert collect([folder], out, readings=True).read == 1
    write("b", 11.0)
    assert collect([folder], out) == Collected(1, 1, 0, [])
    readings = table(out, "readings")
    for name in ("a", "b"):
        series = load(folder / f"{name}.sqlite").series(1)
        rows = readings[readings["session"] == str(folder / f"{name}.sqlite")]
        assert list(rows["value"]) == list(series.value)
        assert list(rows["time_s"]) == list(series.time_s)


def test_a_dataset_that_lost_its_list_reads_it_from_its_tables(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    broken = folder / "broken.sqlite"
    broken.write_bytes(b"no session at all")
    collect([folder], out)
    assert collect([folder], out) == Collected(0, 2, 0, [])
    damages: list[Callable[[Path], object]] = [Path.unlink, lambda path: path.write_text("{")]
    for number, damage in enumerate(damages):
        for place in (NAME, FOLDER):
            path = out / place
            damage(path if path.is_file() else next(path.iterdir()))
            write(f"{place}-{number}")
            assert collect([folder], out).read == 1
            assert read_held(out) == held_by_tables(out)
            assert collect([folder], out).read == 0
    assert len(table(out, "sessions")) == 5


def test_the_list_is_written_again_only_as_far_as_little_changed(tmp_path: Path, write: Write) -> None:
    for number in range(8):
        write(f"{number:02}")
    folder, out = tmp_path / "sessions", tmp_path / "fleet"
    collect([folder], out)
    (base,) = (out / FOLDER).iterdir()
    for number in range(8, 12):
        write(f"{number:02}")
        (folder / f"{number - 8:02}.sqlite").unlink()
        assert collect([folder], out) == Collected(1, 7, 1, [])
        assert base.exists() == (number < 11)  # until as many came and went
        assert read_held(out) == held_by_tables(out)
    assert len(list((out / FOLDER).iterdir())) == 1
    assert 'gone":[]' in next((out / FOLDER).iterdir()).read_text()
    assert is_complete(out, folder)


def test_nothing_new_loads_no_library_of_tables(tmp_path: Path, write: Write) -> None:
    folder, out = write("a").parent, tmp_path / "fleet"
    collect([folder], out)
    code = (
        "import sys\nfrom meterlog.cli import main; main(sys.argv[1:])\n"
        "assert not {'numpy', 'pyarrow'} & sys.modules.keys()"
    )
    words = ["collect", str(folder), "--out", str(out)]
    done = subprocess.run([sys.executable, "-c", code, *words], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stdout) == (0, f"{out}: 0 sessions read, 1 unchanged\n"), done.stderr


@pytest.mark.parametrize(
    ("entered", "named"),
    [
        ("Panel van 2.0", "panel-van-2-0"),
        (" PANEL  VAN/2.0 ", "panel-van-2-0"),
        ("206", "kind-206"),
        ("1e5", "kind-1e5"),
        ("../..", "unknown"),
        ("", "unknown"),
        (None, "unknown"),
        ("Größe", "grösse"),
    ],
)
def test_a_kind_of_vehicle_is_a_folder_that_every_program_reads_as_text(entered: str | None, named: str) -> None:
    when = datetime(2026, 3, 1, 0, 30, tzinfo=timezone(timedelta(hours=1)))
    assert partition(when, entered) == f"month=2026-02/vehicle_kind={named}"


def test_the_manual_lists_every_column() -> None:
    rows = [line for line in MANUAL.read_text().splitlines() if line.startswith("| `")]
    for name, schema in TABLES.items():
        row = next(line for line in rows if line.startswith(f"| `{name}` |"))
        assert re.findall(r"`(\w+)`", row)[1:] == schema.names
