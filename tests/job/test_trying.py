"""Something that is to be tried comes as the next step, and one word enters what came of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from meterlog.cli.main import main

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
