"""A job that is killed while it measures opens, has every reading that was entered, and whole sessions."""

from __future__ import annotations

import signal
from pathlib import Path

import pytest

from meterlog.cli import main
from meterlog.job.job_file import read_job
from tests.bench import job_kills

KILLS = 6
pytestmark = pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="Windows has no SIGKILL")


@pytest.mark.slow
def test_no_kill_loses_a_reading_or_breaks_a_session(tmp_path: Path) -> None:
    found = job_kills.measured(KILLS, tmp_path, ["sim:van?fault=relay:1.6&speed=8"], seed=7)
    assert (found.kills, found.lost, found.broken) == (KILLS, 0, [])
    assert found.entered > 0, "no kill came after a reading was entered: nothing was tested"
    assert len(read_job(tmp_path / "job-0").of("measured")) == found.entered


def test_a_reading_that_is_gone_would_be_noticed(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "van"
    main(["job", "start", str(folder), "--complaint", "dead", "--circuit", "pump-feed"])
    main(["job", "measure", str(folder), "--value", "12.3"])
    capsys.readouterr()
    before = read_job(folder).steps
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(text.partition("\n[[step]]")[0])
    found = job_kills.Killed()
    job_kills.check(folder, before, found)
    assert found.lost == 1
    assert len(found.broken) == 1
