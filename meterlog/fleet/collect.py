"""Keeps a dataset up to date with folders of sessions: only what changed is read again, by all cores."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa

from meterlog.errors import DatasetError
from meterlog.fleet.dataset import collecting, known, publish
from meterlog.fleet.extract import Found, extract, found
from meterlog.session.summary import session_files

_ROUND = 2_000
"""So many sessions are published at once: what a kill costs at most, and what is in memory. A guess."""

_AT_ONCE = 8
"""So many sessions are handed to a process at once. A guess."""

_FEW = 16
"""Up to so many sessions are read in this process: others take as long to start. A guess."""


@dataclass(frozen=True, slots=True)
class Collected:
    """The outcome of a collection.

    Attributes:
        read: sessions that were new or had changed.
        unchanged: sessions that were not read again.
        gone: sessions whose file is no longer there; their rows are out of the dataset.
        problems: path and reason of each of `read` that cannot be read.
    """

    read: int
    unchanged: int
    gone: int
    problems: list[tuple[str, str]]


def collect(folders: Sequence[Path], out: Path, workers: int | None = None) -> Collected:
    """Bring a dataset up to date with all sessions in folders and the folders in them.

    Sessions of other folders, collected before, stay in it.

    Args:
        folders: to search.
        out: the dataset's folder; made where there is none.
        workers: processes to read with; as many as the machine has cores where None.

    Raises:
        DatasetError: a folder holds no session, or the dataset cannot be read or written; it is then as it was
            after the last round that was complete.
    """
    out, tops = out.resolve(), [folder.resolve() for folder in folders]
    there = {one.session: one for top in tops for one in _sessions(top)}
    with collecting(out):
        held = known(out)
        changed = [one for s, one in there.items() if s not in held or held[s].fingerprint != one.fingerprint]
        away = {s: one for s, one in held.items() if s not in there and any(Path(s).is_relative_to(t) for t in tops)}
        problems: list[tuple[str, str]] = []
        with _processes(len(changed), workers) as pool:
            for at in range(0, max(len(changed), bool(away)), _ROUND):
                some = changed[at : at + _ROUND]
                new = _extracted(pool, some)
                publish(out, new, {one.session: held[one.session] for one in some if one.session in held} | away)
                rows = new["problems"].to_pylist()
                problems += [(row["session"], row["problem"]) for row in rows]
    return Collected(len(changed), len(there) - len(changed), len(away), sorted(problems))


def _sessions(top: Path) -> Iterator[Found]:
    """The sessions in a folder and those in it, by name; what is hidden is passed over.

    Raises:
        DatasetError: there is none: a disk that is not mounted must not empty the dataset.
    """
    if not top.is_dir():
        raise DatasetError(f"there is no folder '{top}'")
    files: list[Path] = []
    for folder, inside, _ in os.walk(top):
        inside[:] = [name for name in inside if not name.startswith(".")]
        files += session_files(Path(folder))
    if not files:
        raise DatasetError(f"there are no sessions in '{top}'")
    for path in sorted(files):
        if (one := found(path)) is not None:
            yield one


@contextmanager
def _processes(sessions: int, workers: int | None) -> Iterator[Executor]:
    """Return what the work is given to: processes for much of it, else a thread of this one."""
    count = min(workers or os.cpu_count() or 1, -(-sessions // _AT_ONCE))
    if count < 2 or sessions <= _FEW:
        pool: Executor = ThreadPoolExecutor(1)
    else:
        # Spawned: a fork may copy a held lock.
        pool = ProcessPoolExecutor(count, multiprocessing.get_context("spawn"), initializer=_follow_parent)
    try:
        yield pool
    finally:
        pool.shutdown(cancel_futures=True)


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


def _extracted(pool: Executor, files: Sequence[Found]) -> dict[str, pa.Table]:
    """The rows of sessions; what a killed process leaves is done here."""
    parts = [files[at : at + _AT_ONCE] for at in range(0, len(files), _AT_ONCE)] or [[]]
    done = []
    try:
        working = [(part, pool.submit(extract, part)) for part in parts]
    except BrokenProcessPool:
        return _joined([extract(part) for part in parts])
    for part, future in working:
        try:
            done.append(future.result())
        except BrokenProcessPool:
            done.append(extract(part))
    return _joined(done)


def _joined(parts: Sequence[dict[str, pa.Table]]) -> dict[str, pa.Table]:
    return {name: pa.concat_tables([part[name] for part in parts]) for name in parts[0]}
