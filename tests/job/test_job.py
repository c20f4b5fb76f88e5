"""Checks a job from complaint to proof by its commands: nothing typed twice, nothing lost, every step taken back."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from meterlog.circuit.model.circuit_file import load_circuit
from meterlog.cli import main
from meterlog.errors import JobBusy
from meterlog.job.job_file import editing, measuring
from meterlog.session import open_reader
from meterlog.text.times import today
from tests.job.vehicle import Vehicle

Run = Callable[..., dict[str, Any]]

LOOKS = {"prime_heard": "no", "fuel_at_rail": "no", "tachometer_moves": "yes", "engine_lamp_lit": "yes"}
LOOKS |= {"key_lamp_blinks": "no", "pump_fuse_feeds_more": "no"}


def start(job: Run, *words: str) -> dict[str, Any]:
    return job("start", "--complaint", "cranks, does not start", "--vehicle", "blue van", *words)


def answer(vehicle: Vehicle, wanted: dict[str, Any]) -> str:
    """Return what a person types once it is measured, or tried."""
    return vehicle.came_of(wanted["tried"]) if wanted["kind"] == "try" else vehicle.read(wanted)


def follow(job: Run, now: dict[str, Any], vehicle: Vehicle) -> dict[str, Any]:
    """Do only what `next` says, until there is nothing left."""
    for _ in range(40):
        wanted = now["next"]
        if wanted["kind"] == "done":
            return now
        if wanted["kind"] == "look":
            now = job("look", f"{wanted['look']['key']}={LOOKS[wanted['look']['key']]}")
        elif wanted["kind"] == "repair":
            vehicle.extra_ohm.pop(wanted["part"], None)
            if wanted["part"] in vehicle.circuit.commands:
                vehicle.commanded = True
            now = job("repaired", wanted["part"])
        else:
            now = job("measure", "--value", answer(vehicle, wanted))
    raise AssertionError("the job does not end")


FAULTS = pytest.mark.parametrize(
    ("part", "ohm"),
    [
        ("fuse", math.inf),
        ("relay", 1.6),
        ("inertia_switch", math.inf),
        ("feed_wire", 1.2),
        ("pump", math.inf),
        ("ground_bolt", 1.5),
        ("plug_feed_pin", math.inf),
        ("relay_coil", math.inf),
    ],
)
"""Faults of the pump's circuit, one at a time."""


@pytest.mark.slow
@FAULTS
def test_a_hidden_fault_is_found_repaired_and_proved_by_doing_what_comes_next(part: str, ohm: float, job: Run) -> None:
    vehicle = Vehicle(load_circuit("pump-feed"), {part: ohm}, commanded=part != "relay_coil")
    now = follow(job, start(job), vehicle)
    assert now["state"] == "proved"
    assert now["proof"]["verdict"] == "proved"
    assert now["repairs"][-1]["part"] == part
    assert not vehicle.extra_ohm or part == "relay_coil"
    assert now["circuit"] == "pump-feed"


@pytest.mark.slow
@pytest.mark.parametrize(
    ("part", "ohm"), [("fuse", math.inf), ("relay", 1.6), ("plug_feed_pin", math.inf), ("relay_coil", math.inf)]
)
def test_a_test_lamp_is_enough(part: str, ohm: float, job: Run) -> None:
    vehicle = Vehicle(load_circuit("pump-feed"), {part: ohm}, commanded=part != "relay_coil")
    now = follow(job, start(job, "--tool", "lamp"), vehicle)
    assert now["repairs"][-1]["part"] == part
    assert now["state"] == "proved"
    assert {reading["quantity"] for reading in now["readings"]} == {"lamp"}


def test_a_blown_fuse_is_found_repaired_and_proved(job: Run) -> None:
    vehicle = Vehicle(load_circuit("pump-feed"), {"fuse": math.inf})
    now = follow(job, start(job, "--circuit", "pump-feed"), vehicle)
    assert (now["state"], now["repairs"][-1]["part"]) == ("proved", "fuse")


def test_what_was_tried_and_seen_counts(job: Run) -> None:
    start(job, "--circuit", "pump-feed")
    now = job("look", "relay_clicks=no", "fuse_whole=yes")
    assert now["observed"] == {"relay_clicks": "no", "fuse_whole": "yes"}
    tried = job("tried", "bridged relay runs")
    assert {h["part"] for h in tried["diagnosis"]["hypotheses"][:2]} == {"relay", "relay_coil"}
    assert job("measure", "--at", "fuse_out", "--value", "lamp bright 5 W")["readings"][-1]["value"] == "bright"


def test_a_repair_that_changed_nothing_is_not_proved_and_the_search_goes_on(job: Run) -> None:
    vehicle = Vehicle(load_circuit("pump-feed"), {"relay": 1.6})
    now = start(job, "--circuit", "pump-feed")
    while now["next"]["kind"] in ("measure", "try"):
        now = job("measure", "--value", answer(vehicle, now["next"]))
    assert now["next"]["part"] == "relay"
    now = job("repaired", "fuse", "--price", "2", "--minutes", "3", "--note", "10 A")
    assert now["state"] == "repaired"
    assert now["next"]["kind"] == "prove"
    now = job("prove", "--value", vehicle.read(now["next"]))
    assert now["proof"]["verdict"] == "not proved"
    assert now["state"] == "open"
    assert now["next"]["part"] == "relay"
    assert now["repairs"] == [{"part": "fuse", "price": 2.0, "minutes": 3.0, "note": "10 A"}]
    now = follow(job, now, vehicle)
    assert (now["state"], now["repairs"][-1]["part"]) == ("proved", "relay")


def test_every_step_can_be_taken_back(job: Run) -> None:
    begun = start(job)
    job("look", "prime_heard=no")
    led = job("look", "fuel_at_rail=no")
    assert led["circuit"] == "pump-feed"
    measured = job("measure", "--value", "12,1 V")
    assert measured["readings"][-1]["value"] == 12.1
    assert job("undo")["readings"] == []
    assert job("undo")["circuit"] is None
    assert job("undo") == begun


def test_a_measurement_can_be_refused_or_taken_elsewhere(job: Run) -> None:
    first = start(job, "--circuit", "pump-feed")["next"]
    second = job("measure", "--skip")["next"]
    assert (second["at"], second["to"], second["state"]) != (first["at"], first["to"], first["state"])
    now = job("measure", "--at", "relay", "--value", "1.6")
    assert now["readings"][-1]["quantity"] == "voltage_drop"
    assert now["diagnosis"]["hypotheses"][0]["part"] == "relay"


def test_comments_and_order_of_the_file_are_kept(job: Run, folder: Path) -> None:
    start(job, "--set", "customer=Ann")
    file = folder / "job.toml"
    file.write_text("# mine\n" + file.read_text().replace('vehicle = "blue van"', 'vehicle = "red van" # not blue'))
    now = job("look", "prime_heard=no")
    assert now["vehicle"] == "red van"
    text = file.read_text()
    assert text.startswith("# mine\n")
    assert "# not blue" in text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('complaint = "cranks, does not start"', "complaint = 3", "line 4: 'complaint' must be text in quotes"),
        ("format = 1", "format = 7", "written by a later version"),
        ('step = "look"', 'step = "lok"', "'step' must be one of look, measured"),
        ('answer = "no"', "", "'answer' is missing"),
        ('circuit = ""', 'circuit = "../x.toml"', "must be the name of a file in the job's folder"),
        ("format = 1", "format = ", "line 3: this is not TOML, at 'format'"),
    ],
)
def test_a_damaged_file_is_named_and_nothing_is_written(
    old: str, new: str, said: str, job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job)
    job("look", "prime_heard=no")
    file = folder / "job.toml"
    damaged = file.read_text().replace(old, new, 1)
    file.write_text(damaged)
    for words in (["status", str(folder)], ["look", str(folder), "fuel_at_rail=no"], ["undo", str(folder)]):
        assert main(["job", *words]) == 2
        assert said in capsys.readouterr().err
    assert file.read_text() == damaged


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["look", "prime_herd=no"], "did you mean 'prime_heard'"),
        (["look", "prime_heard=perhaps"], "answered by yes, no or unknown"),
        (["look", "prime_heard"], "is not KEY=ANSWER"),
        (["look", "circuit=pump-fed"], "there is no file 'pump-fed'"),
        (["measure", "--value", "12"], "the next step is not a measurement but this: Key on"),
        (["measure", "--at", "fuse_out", "--value", "12"], "no circuit is chosen yet"),
        (["repaired", "relay"], "no circuit is chosen yet"),
        (["undo"], "nothing was done yet"),
    ],
)
def test_a_slip_is_one_sentence(
    words: list[str], said: str, job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job)
    before = (folder / "job.toml").read_text()
    assert main(["job", words[0], str(folder), *words[1:]]) == 2
    assert said in capsys.readouterr().err
    assert (folder / "job.toml").read_text() == before


def test_a_wrong_place_part_or_reading_is_named(job: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start(job, "--circuit", "pump-feed")
    for words, said in (
        (["repaired", "rely"], "did you mean 'relay'"),
        (["measure", "--at", "fuse_ot", "--value", "12"], "near it: fuse_out"),
        (["measure", "--value", "twelve"], "'twelve' is not a number"),
        (["measure", "--value", "12000"], "more than"),
        (["measure"], "name a meter with --meter"),
        (["start", "--complaint", "x"], "is a job already"),
    ):
        assert main(["job", words[0], str(folder), *words[1:]]) == 2
        assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('at = "fuse_out"', 'at = "fuse_ot"', r"line \d\d: a measured step: 'at' is 'fuse_ot'.*near it: fuse_out"),
        ("value = 12.3", 'value = "high"', r"line \d\d: a measured step: 'value' must be a number"),
    ],
)
def test_a_damaged_reading_is_named_by_its_line(
    old: str, new: str, said: str, job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed")
    job("measure", "--value", "12.3")
    file = folder / "job.toml"
    damaged = file.read_text().replace(old, new, 1)
    file.write_text(damaged)
    assert main(["job", "measure", str(folder), "--value", "12"]) == 2
    assert re.search(said, capsys.readouterr().err)
    assert file.read_text() == damaged


def test_a_second_writer_is_told_who_has_it(job: Run, folder: Path) -> None:
    start(job)
    with (
        editing(folder) as document,
        pytest.raises(JobBusy, match=r"another program is writing .* \(process \d+ on "),
        editing(folder),
    ):
        pass
    assert document["vehicle"] == "blue van"


def test_a_second_program_that_measures_is_told_who_does(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed", "--meter", "sim:van?speed=20")
    with measuring(folder):
        assert main(["job", "measure", str(folder)]) == 2
        said = capsys.readouterr().err
        assert "another program measures for" in said
        assert "(process " in said
        assert len(job("measure", "--value", "12.3")["readings"]) == 1  # by hand it goes on
    assert list(folder.glob("*.sqlite")) == []


def test_jobs_are_listed_newest_first_and_a_damaged_one_is_said(
    tmp_path: Path, job: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job)
    other = tmp_path / "other"
    other.mkdir()
    (other / "job.toml").write_text("format = 9")
    assert main(["jobs", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "cranks, does not start" in said
    assert "other: cannot be read" in said
    assert said.index("other") < said.index("blue van")


def test_what_comes_next_is_said_in_the_terminal(job: Run, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    start(job, "--circuit", "pump-feed")
    assert main(["job", "status", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "Next (3 min): Dial on volts DC; red on fuse out (behind fuse)" in said
    assert "near battery voltage" in said
    assert "mind: Wear eye protection." in said
    assert main(["job", "measure", str(folder), "--value", "12.1"]) == 0
    assert "mind: Wear eye protection." not in capsys.readouterr().out


def test_a_reading_is_taken_from_a_meter_recorded_and_entered(job: Run, folder: Path) -> None:
    start(job, "--circuit", "pump-feed", "--meter", "sim:healthy-prime?speed=4")
    now = job("measure", "--at", "plug_feed")
    reading = now["readings"][-1]
    assert reading["at"] == "plug_feed"
    assert reading["value"] == pytest.approx(12.0, abs=0.3)
    assert reading["error"] > 0
    with open_reader(folder / reading["session"]) as session:  # a copy of it that is sent away still tells
        assert (session.details["job"], session.details["complaint"]) == (folder.name, "cranks, does not start")


def test_a_job_that_waits_says_for_what_and_goes_on_with_the_next_step(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed")
    waiting = job("wait", "relay, ordered for Friday")
    assert (waiting["state"], waiting["waiting"]) == (
        "waiting",
        {"reason": "relay, ordered for Friday", "until": None},
    )
    assert main(["job", "status", str(folder)]) == 0
    said = capsys.readouterr().out
    assert "Job, waiting: cranks, does not start" in said
    assert "waits for: relay, ordered for Friday" in said
    assert main(["jobs", str(folder)]) == 0
    assert ": waiting, " in capsys.readouterr().out
    on = job("measure", "--value", "12.3")
    assert (on["state"], on["waiting"]) == ("open", None)
    assert job("undo")["state"] == "waiting"


@pytest.mark.parametrize(("until", "days"), [("3d", 3), ("0 days", 0), ("2999-12-01", None)])
def test_what_a_job_waits_for_is_due_on_a_day(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str], until: str, days: int | None
) -> None:
    start(job)
    job("wait", "relay", "--until", until)
    day = until if days is None else str(today() + timedelta(days))
    due = f"due {day}" if days != 0 else "due today"
    assert main(["jobs", str(folder)]) == 0
    assert f": waiting, {due}, " in capsys.readouterr().out
    assert main(["job", "status", str(folder)]) == 0
    assert f"waits for: relay, {due}\n" in capsys.readouterr().out


def test_what_is_overdue_is_said_and_a_day_that_is_none_is_refused(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job)
    for wrong in ("yesterday", "2020-01-01", "2026-02-30", "-1d"):
        with pytest.raises(SystemExit) as ended:
            main(["job", "wait", str(folder), "relay", f"--until={wrong}"])
        assert ended.value.code == 2
    job("wait", "relay", "--until", "3d")
    file = folder / "job.toml"
    whole = re.sub(r'until = ".*"', "until = 2020-01-01", file.read_text())  # a date of TOML's own, typed by hand
    file.write_text(whole)
    capsys.readouterr()
    assert main(["jobs", str(folder)]) == 0
    assert ": waiting, due since 2020-01-01, " in capsys.readouterr().out
    file.write_text(whole.replace("2020-01-01", '"soon"'))
    assert main(["job", "status", str(folder)]) == 2
    assert "'until' must be a date as YYYY-MM-DD" in capsys.readouterr().err


def test_a_missing_session_is_said_and_its_reading_stays(
    job: Run, folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed")
    reading = job("measure", "--at", "plug_feed", "--meter", "sim:healthy-prime?speed=8")["readings"][0]
    (folder / reading["session"]).unlink()
    assert job("status")["readings"] == [reading]
    assert main(["job", "status", str(folder)]) == 0
    assert f"{reading['session']} is missing; what was read in it stays" in capsys.readouterr().out


def test_a_list_of_jobs_says_what_each_says_itself(
    tmp_path: Path, job: Run, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed")
    job("measure", "--value", "12.1")
    now = job("repaired", "fuse")
    assert now["state"] == "repaired"
    assert main(["jobs", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert ": repaired, " in said
    assert now["diagnosis"]["verdict"].partition(";")[0] in said


def test_the_one_job_here_needs_no_name(
    job: Run, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    start(job, "--circuit", "pump-feed")
    monkeypatch.chdir(folder.parent)
    assert main(["job", "measure", "--value", "12.3"]) == 0
    assert "12.3 V" in capsys.readouterr().out
    assert main(["job", "report"]) == 0
    assert (folder / "report.html").is_file()
    monkeypatch.chdir(folder)
    assert main(["job", "undo"]) == 0
    other = folder.parent / "other"
    main(["job", "start", str(other), "--complaint", "x"])
    monkeypatch.chdir(folder.parent)
    capsys.readouterr()
    assert main(["job", "status"]) == 2
    assert "there are 2 jobs here: name the folder of one (other, van)" in capsys.readouterr().err


def test_jobs_that_are_over_stand_in_nobodys_way(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name in ("before", "van"):
        main(["job", "start", str(folder.parent / name), "--complaint", "x", "--circuit", "pump-feed"])
    monkeypatch.chdir(folder.parent)
    assert main(["job", "close", "before", "--reason", "sold"]) == 0
    assert main(["job", "measure", "--value", "12.3"]) == 0
    assert "12.3" in Path("van", "job.toml").read_text()
    assert main(["job", "close", "van", "--reason", "sold too"]) == 0
    os.utime(Path("before", "job.toml"), (1e9, 1e9))
    capsys.readouterr()
    assert main(["job", "report"]) == 0
    assert Path("van", "report.html").is_file()
    assert main(["job", "measure", "--value", "12.3"]) == 2, "nothing is entered into a job that nobody named"
    assert "there are 2 jobs here: name the folder of one (before, van)" in capsys.readouterr().err


def test_no_job_here_is_one_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["job", "status"]) == 2
    assert "there is no job here" in capsys.readouterr().err
