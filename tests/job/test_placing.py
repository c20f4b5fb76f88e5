"""The probes of a simulated vehicle are where the job asks; another meter only keeps the place as its test point."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., dict[str, Any]]


def test_a_simulated_van_is_measured_where_the_job_asks(job: Run, folder: Path) -> None:
    job("start", "--complaint", "dead", "--circuit", "pump-feed", "--meter", "sim:van?fault=relay:1.6&speed=20")
    feed = job("measure", "--at", "plug_feed", "--state", "key_on")["readings"][-1]
    assert feed["value"] == pytest.approx(5.2, abs=0.5)
    assert (folder / feed["session"]).is_file()
    ground = job("measure", "--at", "plug_ground", "--to", "body", "--state", "isolated", "--quantity", "resistance")
    assert ground["readings"][-1]["value"] == pytest.approx(0.3, abs=0.15)
    job("repaired", "relay")
    assert job("measure", "--at", "plug_feed", "--state", "key_on")["readings"][-1]["value"] > 11.5
