"""Collects with one and with two worker processes of a local Dask cluster that is already there."""

from __future__ import annotations

import time
from collections.abc import Sequence
from logging import CRITICAL
from pathlib import Path
from tempfile import TemporaryDirectory

from distributed import Client, LocalCluster

from meterlog.fleet.collect import collect


def rates(folders: Sequence[Path], workers: Sequence[int] = (1, 2)) -> list[float]:
    """Return the sessions a second that so many workers collect; what they load is loaded before."""
    found = []
    for count in workers:
        with (
            TemporaryDirectory() as top,
            LocalCluster(
                n_workers=count, threads_per_worker=1, dashboard_address=":0", silence_logs=CRITICAL
            ) as cluster,
            Client(cluster, set_as_default=False) as client,
        ):
            collect(folders[:1], Path(top, "first"), scheduler=client)
            began_s = time.perf_counter()
            read = collect(folders[1:], Path(top, "fleet"), scheduler=client).read
            found.append(read / (time.perf_counter() - began_s))
    return found
