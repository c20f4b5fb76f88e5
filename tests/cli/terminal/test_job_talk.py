"""`job measure` at a terminal goes on until the job is done, and keys do what a meter cannot."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.job.job_file import read_job

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
    assert "Proof, proved" in at.plain
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
