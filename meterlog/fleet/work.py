"""Has sessions and jobs read by all cores of this machine; what a killed process leaves undone is done here."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING

from meterlog.fleet.sources import Found

if TYPE_CHECKING:
    import pyarrow as pa

Rows = dict[str, "pa.Table"]

_LEAST_AT_ONCE, _MOST_AT_ONCE = 8, 32
"""So many sessions are handed to a process at once: more cost less to hand over (0.1 ms each, not 0.4), fewer leave no
process without work at the end. The latter a choice."""
_PARTS = 32
"""Into so many parts a round is divided, as far as they have a fitting size: a choice."""

_FEW = 16
"""Up to so many sessions are read in this process: others take as long to start. A guess."""


@contextmanager
def this_machine(sessions: int, workers: int | None) -> Iterator[Executor]:
    """Inside, processes wait for files to read.

    Args:
        sessions: how many there will be: for a few no process is started.
        workers: processes; as many as the machine has cores where None.
    """
    count = min(workers or os.cpu_count() or 1, -(-sessions // _LEAST_AT_ONCE))
    if count < 2 or sessions <= _FEW:
        pool: Executor = ThreadPoolExecutor(1)
    else:
        pool = ProcessPoolExecutor(count, _context(), initializer=_follow_parent)
        pool.submit(os.getpid)  # begins to load what processes need, while this one loads what it needs itself
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


def extracted(executor: Executor, rounds: Iterable[Sequence[Found]]) -> Iterator[Rows]:
    """Give the rows of each round of sessions and jobs; while one is put away, the next is being read.

    Args:
        executor: does the work, wherever that is; what a process that was killed leaves undone is done here.
        rounds: what to read.
    """
    before: list[_Working] = []
    for files in rounds:
        size = min(max(len(files) // _PARTS, _LEAST_AT_ONCE), _MOST_AT_ONCE)
        working = [_begun(executor, files[at : at + size]) for at in range(0, len(files), size)]
        if before:
            yield _joined([_done(*one) for one in before])
        before = working or [_begun(executor, [])]
    if before:
        yield _joined([_done(*one) for one in before])


def extract_part(part: Sequence[Found]) -> Rows:
    """See `extract`. What it needs, a second to load, is loaded where the work is done, not by who hands it out."""
    from meterlog.fleet.extract import extract

    return extract(part)


_Working = tuple[Sequence[Found], "Future[Rows] | None"]


def _begun(executor: Executor, part: Sequence[Found]) -> _Working:
    try:
        return part, executor.submit(extract_part, part)
    except BrokenExecutor:
        return part, None


def _done(part: Sequence[Found], future: Future[Rows] | None) -> Rows:
    try:
        return extract_part(part) if future is None else future.result()
    except BrokenExecutor:
        return extract_part(part)


def _joined(parts: Sequence[Rows]) -> Rows:
    import pyarrow as pa

    return {name: pa.concat_tables([part[name] for part in parts]) for name in parts[0]}


def _context() -> multiprocessing.context.BaseContext:
    """Choose how processes start: on Linux as forks of one that has loaded everything and holds no lock.

    Elsewhere there are none, or a fork of what has loaded the system's libraries may crash (macOS).
    """
    if not sys.platform.startswith("linux"):
        return multiprocessing.get_context("spawn")
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(["meterlog.fleet.extract"])
    return context


def _follow_parent() -> None:
    """Let this process end with the one that collects, not by Ctrl-C, and not wait for work for ever."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is None:
        return

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()
