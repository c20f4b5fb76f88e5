"""Something that is to be tried comes as the next step, and one word enters what came of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlog.cli.main import main
from meterlog.job.job_file import add_steps
from tests.job.vehicle import FUSE_BLOWN, WORKS

Run = Callable[..., dict[str, Any]]


@pytest.fixture
def to_try(job: Run, folder: Path) -> Path:
    """A job whose next step is to try a new fuse."""
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    add_steps(folder, FUSE_BLOWN)
    return folder


@pytest.mark.usefixtures("to_try")
def test_a_new_fuse_is_the_next_step_and_its_result_is_one_word(job: Run) -> None:
    following = job("status")["next"]
    assert following["kind"] == "try"
    assert following["tried"] == {"replaced": "fuse"}
    assert following["answers"] == ["runs", "dead", "blew"]
    assert following["at"] == "fuse"
    assert following["quantity"] is None
    assert "never a bigger one" in following["text"]
    assert following["cautions"]
    assert following["minutes"] > 0
    after = job("measure", "--value", "runs")
    assert after["next"]["kind"] == "repair"
    assert after["next"]["part"] == "fuse"


@pytest.mark.usefixtures("to_try")
def test_the_same_is_entered_as_a_trial(job: Run) -> None:
    assert job("tried", "replaced fuse runs")["next"]["part"] == "fuse"


@pytest.mark.usefixtures("to_try")
def test_what_cannot_be_tried_is_refused_and_not_asked_for_again(job: Run) -> None:
    after = job("measure", "--skip")
    assert after["next"].get("tried") != {"replaced": "fuse"}
    assert job("undo")["next"]["tried"] == {"replaced": "fuse"}
    passed = job("measure", "--value", "unknown")
    assert passed["next"].get("tried") != {"replaced": "fuse"}


def test_a_reading_is_no_result(to_try: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["job", "measure", str(to_try), "--value", "12.3"]) == 2
    assert "'result' must be one of runs" in capsys.readouterr().err
    assert main(["job", "measure", str(to_try)]) == 2
    assert "--value runs|dead|blew" in capsys.readouterr().err


@pytest.fixture
def works(job: Run, folder: Path) -> Path:
    """A job on what comes and goes, whose readings were a sound circuit's."""
    job("start", "--complaint", "dies now and then", "--circuit", "pump-feed")
    add_steps(folder, [("measured", row) for row in WORKS])
    return folder


@pytest.mark.usefixtures("works")
def test_what_comes_and_goes_is_made_to_fail_before_a_circuit_is_cleared(job: Run) -> None:
    now = job("status")
    assert now["next"]["kind"] == "try"
    assert now["next"]["tried"] == {"observed": "moves_with_harness"}
    assert "Bend the harness" in now["next"]["text"]
    assert now["next"]["cautions"]
    moved = job("measure", "--value", "feed_wire")
    assert moved["diagnosis"]["hypotheses"][0]["part"] == "feed_wire"
    assert moved["next"]["kind"] in ("measure", "repair")


@pytest.mark.usefixtures("works")
@pytest.mark.parametrize("came_of_it", [("--value", "no"), ("--value", "unknown"), ("--skip",)])
def test_a_harness_that_tells_nothing_is_moved_once(job: Run, came_of_it: tuple[str, ...]) -> None:
    following = job("measure", *came_of_it)["next"]
    assert following["kind"] in ("measure", "done")
    assert following["tried"] is None
    assert "Put" not in following["text"]  # a part that is no likelier at fault than none is not put right


def test_a_job_takes_it_typed_as_an_option_and_as_a_trial(job: Run) -> None:
    job("start", "--complaint", "dies now and then", "--circuit", "pump-and-heater")
    job("measure", "--at", "shared_feed", "--value", "12.1, heater unplugged")
    now = job("measure", "--at", "plug_feed", "--unplugged", "heater", "--value", "12.1")
    assert [row["unplugged"] for row in now["readings"]] == ["heater", "heater"]
    job("tried", "replaced fuse, heater unplugged: runs")
