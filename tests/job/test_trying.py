"""Something that is to be tried comes as the next step, and one word enters what came of it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from meterlog.cli.main import main
from meterlog.job.job_file import add_steps
from tests.job.vehicle import WORKS

Run = Callable[..., dict[str, Any]]


def _to_try(job: Run) -> dict[str, Any]:
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed")
    for _ in range(2):
        now = job("measure", "--at", "fuse_out", "--value", "0")
    return now


def test_a_new_fuse_is_the_next_step_and_its_result_is_one_word(job: Run) -> None:
    now = _to_try(job)
    following = now["next"]
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


def test_the_same_is_entered_as_a_trial(job: Run) -> None:
    _to_try(job)
    assert job("tried", "replaced fuse runs")["next"]["part"] == "fuse"


def test_what_cannot_be_tried_is_refused_and_not_asked_for_again(job: Run) -> None:
    _to_try(job)
    after = job("measure", "--skip")
    assert after["next"].get("tried") != {"replaced": "fuse"}
    assert job("undo")["next"]["tried"] == {"replaced": "fuse"}
    passed = job("measure", "--value", "unknown")
    assert passed["next"].get("tried") != {"replaced": "fuse"}


def test_a_reading_is_no_result(job: Run, capsys: pytest.CaptureFixture[str]) -> None:
    now = _to_try(job)
    capsys.readouterr()
    assert main(["job", "measure", now["job"], "--value", "12.3"]) == 2
    assert "'result' must be one of runs" in capsys.readouterr().err
    assert main(["job", "measure", now["job"]]) == 2
    assert "--value runs|dead|blew" in capsys.readouterr().err


def _works_while_measured(job: Run, folder: Path) -> dict[str, Any]:
    """The status once enough readings were a sound circuit's."""
    job("start", "--complaint", "dies now and then", "--circuit", "pump-feed")
    add_steps(folder, [("measured", row) for row in WORKS])
    return job("status")


def test_what_comes_and_goes_is_made_to_fail_before_a_circuit_is_cleared(job: Run, folder: Path) -> None:
    now = _works_while_measured(job, folder)
    assert now["next"]["kind"] == "try"
    assert now["next"]["tried"] == {"observed": "moves_with_harness"}
    assert "Bend the harness" in now["next"]["text"]
    assert now["next"]["cautions"]
    moved = job("measure", "--value", "feed_wire")
    assert moved["diagnosis"]["hypotheses"][0]["part"] == "feed_wire"
    assert moved["next"]["kind"] in ("measure", "repair")


@pytest.mark.parametrize("came_of_it", [("--value", "no"), ("--value", "unknown"), ("--skip",)])
def test_a_harness_that_tells_nothing_is_moved_once(job: Run, folder: Path, came_of_it: tuple[str, ...]) -> None:
    _works_while_measured(job, folder)
    assert job("measure", *came_of_it)["next"]["kind"] == "done"
