"""`job measure` at a terminal goes on until the job is done, and keys do what a meter cannot."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.job.job_file import add_steps, read_job
from meterlog.job.status import status_of
from tests.job.vehicle import WORKS

if sys.platform != "win32":
    from tests.cli.terminal.at_terminal import AtTerminal

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals"),
]
ROWS, COLUMNS = 24, 40


@pytest.fixture
def begun(tmp_path: Path) -> Callable[..., Path]:
    def begin(*words: str) -> Path:
        folder = tmp_path / "van"
        main(["job", "start", str(folder), "--complaint", "cranks, does not start", *words])
        return folder

    return begin


def test_a_burnt_relay_is_found_put_right_and_proved_in_one_go(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed", "--meter", "sim:van?fault=relay:1.6&speed=12")
    with AtTerminal("job", "measure", str(folder), "--wait", "4", columns=COLUMNS, rows=ROWS) as at:
        while (what := at.until("it is put right q end", "Still waiting", "Done.")) != "Done.":
            at.press("\r" if what == "Still waiting" else "y")
        assert at.ended() == 0
    steps = read_job(folder).steps
    assert [step.values["part"] for step in steps if step.kind == "repaired"] == ["relay"]
    measured = [step for step in steps if step.kind == "measured"]
    assert len(measured) >= 4
    assert all((folder / str(step.values["session"])).is_file() for step in measured)
    assert "The repair is proved." in at.plain
    assert max(map(len, at.lines)) <= COLUMNS
    assert at.shown.count("\a") >= len(measured)


def test_keys_type_a_lamp_a_reading_refuse_and_take_back(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed")
    with AtTerminal("job", "measure", str(folder)) as at:
        at.until("? keys")
        at.press("12000\r")
        at.until("more than")  # no vehicle has that
        at.press("12.3\r")
        at.until("Typed: 12.3")
        at.press("lb")
        at.until("Typed: lamp bright")
        at.press("r")
        at.until("The last reading is taken back.")
        at.press("n")
        at.until("It is not on this car.")
        at.press("q")
        assert at.ended() == 0
    kinds = [(step.kind, step.values.get("value"), step.values.get("why")) for step in read_job(folder).steps]
    assert kinds == [("measured", 12.3, None), ("skipped", None, "not on this car")]


def test_each_of_more_than_nine_answers_has_a_key(tmp_path: Path) -> None:
    folder = tmp_path / "van"
    main(["job", "start", str(folder), "--complaint", "dies now and then", "--circuit", "pump-feed"])
    add_steps(folder, [("measured", row) for row in WORKS])
    with AtTerminal("job", "measure", str(folder), columns=COLUMNS, rows=ROWS) as at:
        at.until("c ground wire")
        at.until("q end")
        at.press("c")
        at.until("moves with harness: ground wire")
    assert read_job(folder).observed["moves_with_harness"] == "ground_wire"
    assert max(map(len, at.lines)) <= COLUMNS


def test_who_ends_before_a_part_is_put_right_is_told_to_do_so_and_then_go_on(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed")
    for _ in range(2):
        main(["job", "measure", str(folder), "--at", "fuse_out", "--value", "0"])
    main(["job", "tried", str(folder), "replaced fuse runs"])
    with AtTerminal("job", "measure", str(folder), columns=200) as at:
        at.until("it is put right q end")
        at.press("q")
        assert at.ended() == 0
    assert [line for line in at.lines if line][-1] == f"Put fuse right, then go on with 'meterlog job measure {folder}'"
    assert not read_job(folder).of("repaired")


def test_where_only_a_drive_is_left_no_measurement_is_offered(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed")
    main(["job", "repaired", str(folder), "relay"])
    low = status_of(read_job(folder)).proof.readings[0].sound[0] - 0.45  # too near the limit to settle it
    for _ in range(2):
        main(["job", "prove", str(folder), "--value", f"{low:.2f}"])
    with AtTerminal("job", "measure", str(folder), columns=200) as at:
        assert at.ended() == 0
    said = " ".join(at.plain.split())
    assert said.endswith(f"prove it by driving, then 'job close {folder} --reason ...'.")
    assert "job measure" not in said


def test_slips_are_said_while_the_person_lies_there_and_nothing_is_entered(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed", "--meter", "sim:pump-ohms?loop=yes&speed=4")
    with AtTerminal("job", "measure", str(folder)) as at:
        at.until("Leads off first: no ohms on a live circuit.")
        at.press("q")
        assert at.ended() == 0
    assert "\a" in at.shown
    assert read_job(folder).steps == ()
    assert list(folder.glob("*.sqlite")) == []


def test_a_meter_that_is_not_there_is_said_and_the_reading_typed(begun: Callable[..., Path]) -> None:
    folder = begun("--circuit", "pump-feed", "--meter", "status14:/dev/no-such-port")
    with AtTerminal("job", "measure", str(folder)) as at:
        at.until("r tries again, t types the reading")
        at.press("12.4\r")
        at.until("Typed: 12.4")
        at.press("q")
        assert at.ended() == 0
    assert len(read_job(folder).of("measured")) == 1


def test_on_a_real_port_a_wrong_dial_and_crossed_leads_are_said_before_the_reading_is_caught(
    begun: Callable[..., Path],
) -> None:
    emulate = [sys.executable, "-m", "meterlog", "emulate", "van", "--fault", "none", "--speed", "4"]
    with ExitStack() as ends:
        van = ends.enter_context(subprocess.Popen(emulate, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
        ends.callback(van.kill)
        assert van.stdout is not None
        folder = begun("--circuit", "pump-feed", "--meter", f"status14:{van.stdout.readline().strip()}")

        def clip(place: str) -> None:
            assert van.stdin is not None
            van.stdin.write(f"{place}\n")
            van.stdin.flush()

        clip("ohms plug_ground to body")
        with AtTerminal("job", "measure", str(folder), "--at", "plug_feed") as at:
            at.until("Leads off first: no ohms on a live circuit.")
            clip("battery_minus to plug_feed")
            at.until("red and black are exchanged")
            assert read_job(folder).steps == ()
            clip("plug_feed")
            at.until("Caught: 12.")
            at.until("Means: ")
            at.press("q")
            assert at.ended() == 0
    reading = read_job(folder).steps[0]
    assert reading.values["at"] == "plug_feed"
    assert 11.5 < float(str(reading.values["value"])) < 12.6
