"""Checks that what sits between the meter and the wire counts in a job as it does in a recording."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

Run = Callable[..., dict[str, Any]]
VAN = "sim:van?fault=relay:1.6&speed=20"


@pytest.mark.parametrize(("options", "value"), [("&offset=0.5V", 7.3), ("&scale=0.9V/V", 6.12)])
def test_a_step_measures_what_the_options_make_of_the_display(job: Run, options: str, value: float) -> None:
    """The relay's input stands at 6.8 V, as the tests of several meters hold."""
    job("start", "--complaint", "cranks, does not start", "--circuit", "pump-feed", "--meter", VAN + options)
    assert job("measure", "--at", "relay")["readings"][-1]["value"] == pytest.approx(value, abs=0.1)
