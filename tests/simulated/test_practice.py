"""Practice: a hidden fault is found by lines of text, and the best order is shown afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from meterlog.job.job_file import read_job
from meterlog_drivers.simulated.practice import best_order, complaint_of, practise
from meterlog_drivers.simulated.van.faults import faults_named

SEED = 51
"""Hides a blown fuse (see `test_the_seed_hides_what_the_other_tests_take_for_granted`)."""


class Person:
    """Types lines, then nothing more; keeps what was said."""

    def __init__(self, *lines: str) -> None:
        self._lines: Iterator[str] = iter(lines)
        self.said: list[str] = []

    def ask(self, _: str) -> str:
        try:
            return next(self._lines)
        except StopIteration:
            raise EOFError from None

    def say(self, line: str) -> None:
        self.said.append(line)


def practised(folder: Path, *lines: str) -> tuple[int, str]:
    person = Person(*lines)
    status = practise(folder, SEED, person.ask, person.say)
    return status, "\n".join(person.said)


@pytest.fixture(autouse=True)
def _short_order(monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest) -> None:
    if "slow" not in request.keywords:
        monkeypatch.setattr("meterlog_drivers.simulated.practice.best_order", lambda *_: [("one step", 3.0)])


def test_the_seed_hides_what_the_other_tests_take_for_granted() -> None:
    assert [str(fault) for fault in faults_named("hidden", SEED)] == ["fuse:open"]


def test_a_fault_is_found_and_its_readings_are_in_the_job(tmp_path: Path) -> None:
    status, said = practised(tmp_path / "p", "fuse_in", "lamp fuse_in to fuse_out", "look fuse_whole", "repair fuse")
    assert status == 0
    assert "bright on a 5 W lamp from fuse_in to fuse_out" in said
    assert "fuse_whole: no" in said
    assert "Right: fuse is open." in said
    assert "You took 4 steps" in said
    assert "3 min in 1 steps" in said
    job = read_job(tmp_path / "p")
    assert [step.kind for step in job.steps] == ["measured", "measured", "look", "repaired"]


def test_a_sound_part_a_slip_and_the_end(tmp_path: Path) -> None:
    status, said = practised(tmp_path / "p", "repair relay", "fuse owt", "repair rely", "hint", "end", "repair fuse")
    assert status == 1
    assert "relay was sound: nothing has changed" in said
    assert "'fuse owt' is no place of the van" in said
    assert "did you mean 'relay'" in said
    assert "Dial on" in said
    assert "Not found: fuse is open." in said
    assert "You took 1 steps" in said


def test_another_practice_has_a_folder_of_its_own(tmp_path: Path) -> None:
    practised(tmp_path / "p")
    practised(tmp_path / "p")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["p", "p-2"]


@pytest.mark.slow
def test_the_order_of_the_job_ends_with_the_part(tmp_path: Path) -> None:
    (fault,) = faults_named("hidden", SEED)
    steps = best_order(tmp_path / "job", fault, SEED)
    assert steps[-1][0] == "put fuse right"
    assert all(minutes > 0 for _, minutes in steps)


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        ("fuse", "cranks, does not start"),
        ("ground_bolt:0.4", "lacks power, starts badly"),
        ("relay:stuck_closed", "the pump never stops"),
        ("feed_wire:intermittent", "dies now and then"),
        ("battery:weak", "cranks slowly, does not start"),
    ],
)
def test_the_driver_says_what_the_fault_does(fault: str, complaint: str) -> None:
    (one,) = faults_named(fault, SEED)
    assert complaint_of(one, SEED) == complaint
