"""A cluster of two worker processes makes the same dataset as this machine, whatever happens to its workers."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import dask
import pytest
from distributed import Client, LocalCluster

from meterlog import __version__
from meterlog.cli import main
from meterlog.errors import DatasetError
from meterlog.fleet import cluster as on_cluster
from meterlog.fleet import collect as collecting
from meterlog.fleet import dataset
from meterlog.fleet import extract as extracting
from meterlog.fleet.collect import collect
from meterlog.fleet.place import put_in_place
from tests.fleet.conftest import SESSIONS, everything, fills, is_complete, kill_in_the_second_round, on_call, table
from tests.waiting import until


@pytest.fixture(scope="module")
def client() -> Iterator[Client]:
    """A cluster of two worker processes."""
    with (
        LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=":0") as cluster,
        Client(cluster, set_as_default=False) as made,
    ):
        yield made


def _address(client: Client) -> str:
    return str(client.scheduler_info()["address"])


def _kill_once(mark: Path) -> None:
    """Let the first worker that reads a session die of it. Runs on a worker."""
    real = extracting.extract

    def dies(part: Any) -> Any:
        try:
            os.close(os.open(mark, os.O_CREAT | os.O_EXCL))
            os.kill(os.getpid(), signal.SIGKILL)
        except FileExistsError:
            pass
        return real(part)

    vars(extracting)["extract"] = dies


def test_a_cluster_makes_the_same_tables_a_round_after_the_other(
    tmp_path: Path,
    folder: Path,
    client: Client,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(collecting, "_ROUND", 17)
    out = tmp_path / "fleet"
    words = ["collect", str(folder), "--out", str(out), "--scheduler", _address(client)]
    assert main(words) == 0
    assert f"{SESSIONS} sessions read, 0 unchanged" in capsys.readouterr().out
    assert is_complete(out, folder)
    assert main(words) == 0
    assert f"0 sessions read, {SESSIONS} unchanged" in capsys.readouterr().out


def test_a_client_that_somebody_configured_does_the_same_and_stays_open(
    tmp_path: Path, folder: Path, client: Client
) -> None:
    assert collect([folder], tmp_path / "fleet", scheduler=client).read == SESSIONS
    assert is_complete(tmp_path / "fleet", folder)
    assert client.status == "running"


def test_workers_fetch_what_has_an_address(tmp_path: Path, folder: Path, client: Client) -> None:
    done = collect([folder.as_uri()], tmp_path / "fleet", scheduler=client)
    assert (done.read, [session for session, _ in done.problems]) == (SESSIONS, [f"{folder.as_uri()}/broken.sqlite"])
    assert len(everything(tmp_path / "fleet")["sessions"]) == SESSIONS - 1


def test_a_worker_killed_in_the_middle_loses_nothing(tmp_path: Path, folder: Path, client: Client) -> None:
    client.run(_kill_once, tmp_path / "killed")
    assert collect([folder], tmp_path / "fleet", scheduler=client).read == SESSIONS
    assert (tmp_path / "killed").exists()
    assert is_complete(tmp_path / "fleet", folder)


def test_what_the_scheduler_gives_up_is_done_here(tmp_path: Path, folder: Path, client: Client) -> None:
    def patience(deaths: int, dask_scheduler: Any) -> None:
        dask_scheduler.allowed_failures = deaths

    client.run(_kill_once, tmp_path / "killed")
    client.run_on_scheduler(patience, 0)
    try:
        assert collect([folder], tmp_path / "fleet", scheduler=client).read == SESSIONS
    finally:
        client.run_on_scheduler(patience, 3)
    assert (tmp_path / "killed").exists()
    assert is_complete(tmp_path / "fleet", folder)


def test_a_collector_killed_in_a_later_round_loses_and_doubles_nothing(
    tmp_path: Path, folder: Path, client: Client
) -> None:
    out = tmp_path / "fleet"
    kill_in_the_second_round(["collect", str(folder), "--out", str(out), "--scheduler", _address(client)])
    assert len(table(out, "sessions")) == 16
    assert collect([folder], out, scheduler=client).read == SESSIONS - 16
    assert is_complete(out, folder)


def test_a_full_disk_in_a_later_round_leaves_the_cluster_at_work(
    tmp_path: Path, folder: Path, client: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "fleet"
    monkeypatch.setattr(collecting, "_ROUND", 16)
    with monkeypatch.context() as patch:
        patch.setattr(dataset, "put_in_place", on_call(2, put_in_place, fills))
        with pytest.raises(DatasetError, match="what was in it before still is"):
            collect([folder], out, scheduler=client)
    assert len(table(out, "sessions")) == 16
    assert collect([folder], out, scheduler=client).read == SESSIONS - 16
    assert is_complete(out, folder)


def test_workers_that_would_do_something_else_are_refused(tmp_path: Path, folder: Path, client: Client) -> None:
    def runs(version: str) -> None:
        vars(on_cluster)["__version__"] = version

    def sees(folders: Callable[[str], Path]) -> None:
        vars(on_cluster)["Path"] = folders

    def nowhere(_: str) -> Path:
        return Path("/nowhere")

    for spoil, good, bad, said in (
        (runs, __version__, "0.0.9", r"the worker at \S+ has meterlog 0\.0\.9, and here it is"),
        (sees, Path, nowhere, rf"the worker at \S+ sees no folder '{folder}'"),
    ):
        client.run(spoil, bad)
        with pytest.raises(DatasetError, match=said):
            collect([folder], tmp_path / "fleet", scheduler=client)
        client.run(spoil, good)
    assert not (tmp_path / "fleet").exists()


def test_a_scheduler_that_goes_is_told_and_not_waited_for(tmp_path: Path) -> None:
    def waits(_: object) -> None:
        until((tmp_path / "release").exists)

    with (
        dask.config.set({"distributed.comm.timeouts.connect": "1s"}),
        LocalCluster(n_workers=1, processes=False, dashboard_address=":0") as cluster,
        on_cluster.cluster(cluster.scheduler_address, [str(tmp_path)]) as running,
    ):
        work = running.submit(waits, [])
        cluster.close()
        with pytest.raises(DatasetError, match="the scheduler has gone"):
            work.result()
        (tmp_path / "release").touch()


def test_no_scheduler_is_one_sentence(tmp_path: Path, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["collect", str(folder), "--out", str(tmp_path / "fleet"), "--scheduler", "nonsense://x"]) == 2
    shown = capsys.readouterr().err
    assert shown.startswith("meterlog: there is no scheduler at 'nonsense://x'")
    assert shown.count("\n") == 1
    words = ["collect", str(folder), "--out", str(tmp_path / "fleet"), "--scheduler", "tcp://x:1", "--workers", "2"]
    assert main(words) == 2
    assert "give one of them" in capsys.readouterr().err
