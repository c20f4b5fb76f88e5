"""Hidden faults, from `job start` to `proved` in three commands (`python -m tests.bench.hidden_faults` tries ten)."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING or sys.platform != "win32":
    from tests.bench.hidden_faults import TEN, Way, tried

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif("METERLOG_LONG" not in os.environ, reason="takes minutes: run by hand"),
    pytest.mark.skipif(sys.platform == "win32", reason="Windows has no pseudo-terminals"),
]


@pytest.mark.parametrize(("fault", "way"), [("fuse:open", "lamp"), ("relay_coil:not_commanded", "meter")])
def test_a_script_that_does_only_what_comes_next_proves_the_repair(fault: str, way: Way) -> None:
    outcome = tried([hidden for hidden, _ in TEN].index(fault), way)
    assert outcome.right, outcome
    assert [command[1] for command in outcome.commands] == ["start", "measure", "report"]
    assert "van" not in [word for command in outcome.commands[1:] for word in command], "no path after the first"
