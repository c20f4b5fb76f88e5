"""Has sessions and jobs read by a Dask cluster: the executor is all that differs from this machine's processes."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from distributed import Client, KilledWorker
from distributed import Future as DaskFuture
from distributed.comm.core import CommClosedError

from meterlog import __version__
from meterlog.errors import DatasetError
from meterlog.fleet.sources import Found

_PATIENCE_S = 30.0
"""For the scheduler to answer, and for a first worker to come. A guess."""


@contextmanager
def cluster(scheduler: str | Client, folders: Sequence[str]) -> Iterator[Executor]:
    """Inside, the workers of a cluster wait for files to read.

    Args:
        scheduler: its address, or a client that somebody has configured, which stays open.
        folders: that every worker must see.

    Raises:
        DatasetError: there is no scheduler or no worker, or a worker has another version or does not see a folder.
    """
    client = _connected(scheduler)
    try:
        _check(client, folders)
        yield _Cluster(client)
    finally:
        if client is not scheduler:
            client.close()


def _connected(scheduler: str | Client) -> Client:
    if isinstance(scheduler, Client):
        return scheduler
    for name in ("distributed", "distributed.client"):
        logging.getLogger(name).setLevel(logging.CRITICAL)  # it tells a lost scheduler by tracebacks
    try:
        return Client(scheduler, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise DatasetError(f"there is no scheduler at '{scheduler}': {_said(error)}") from error


def _check(client: Client, folders: Sequence[str]) -> None:
    """Refuse a cluster that would do something else than this machine.

    Raises:
        DatasetError: it has no worker, or one with another version, or one that does not see a folder.
    """
    on_disk = [folder for folder in folders if "://" not in folder]
    try:
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    except TimeoutError:
        raise DatasetError(f"no worker has come to the scheduler within {_PATIENCE_S:.0f} s: start one") from None
    for worker, told in client.run(_stand, on_disk, on_error="return").items():
        if isinstance(told, Exception):
            raise DatasetError(
                f"the worker at {worker} cannot do it ({_said(told)}): install 'meterlog[cluster]' there"
            )
        version, unseen = told
        if version != __version__:
            raise DatasetError(f"the worker at {worker} has meterlog {version}, and here it is {__version__}")
        if unseen:
            words = "let all workers see it under the same path, or give an address of object storage"
            raise DatasetError(f"the worker at {worker} sees no folder '{unseen[0]}': {words}")


def _stand(folders: Sequence[str]) -> tuple[str, list[str]]:
    """The version that runs on a worker, and which folders it does not see."""
    return __version__, [folder for folder in folders if not Path(folder).is_dir()]


class _Cluster(Executor):
    """A cluster as an executor like any other. Dask's own one waits for ever where the scheduler has gone."""

    def __init__(self, client: Client) -> None:
        self._client = client

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> Future[Any]:
        return _There(self._client.submit(_done_there, fn, *args, **kwargs, pure=False))


class _There(Future[Any]):
    """Holds what a cluster is doing. A worker that is lost is no error: the scheduler gives its work to another."""

    def __init__(self, there: DaskFuture[Any]) -> None:
        super().__init__()
        self._there = there

    def result(self, timeout: float | None = None) -> Any:
        try:
            return self._there.result(timeout)
        except (KilledWorker, ModuleNotFoundError) as error:
            raise BrokenExecutor(_said(error)) from error
        except (CancelledError, CommClosedError) as error:
            words = "the scheduler has gone: what was put away is in the dataset; run it again for the rest"
            raise DatasetError(words) from error


def _done_there(work: Callable[[Sequence[Found]], Any], part: Sequence[Found]) -> Any:
    """Do the work on a worker, unless it came after the others were asked and cannot do the same.

    Raises:
        BrokenExecutor: it has another version, or does not see the files.
    """
    for file in part:
        if not file.fingerprint.startswith(f"{__version__}/") or not (file.fetch or Path(file.path).exists()):
            raise BrokenExecutor(f"this worker cannot read '{file.name}' as it was found")
    return work(part)


def _said(error: Exception) -> str:
    return " ".join(str(error).split())
