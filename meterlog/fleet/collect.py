"""Keeps a dataset up to date with folders of sessions and jobs: only what changed is read again."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import Executor
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.fleet.manifest import NAME, Known, holds_readings, read_held
from meterlog.fleet.place import collecting
from meterlog.fleet.sources import WITH_READINGS, Found, plain, sources

if TYPE_CHECKING:
    from distributed import Client

_ROUND = 5_000
"""So many sessions are published at once: what a kill costs at most, half a minute, and what is in memory, 0.1 GB. Each
round takes 1 to 2 s to put away, however few its sessions. A choice."""

_ROUND_BYTES = 100_000_000
"""Of session files whose readings are wanted in a round: some 25 million readings, 1.5 GB while they are put in."""


@dataclass(frozen=True, slots=True)
class Collected:
    """The outcome of a collection.

    Attributes:
        read: sessions and jobs that were new or had changed.
        unchanged: those that were not read again.
        gone: those whose file is no longer there; their rows are out of the dataset.
        problems: path and reason of each of `read` that cannot be read.
    """

    read: int
    unchanged: int
    gone: int
    problems: list[tuple[str, str]]


def collect(
    folders: Sequence[Path | str],
    out: Path | str,
    workers: int | None = None,
    *,
    readings: bool = False,
    scheduler: str | Client | None = None,
) -> Collected:
    """Bring a dataset up to date with all sessions and jobs in folders and the folders in them.

    Sessions of other folders, collected before, stay in it.

    Args:
        folders: to search: paths, or addresses of object storage as fsspec knows them (`s3://bucket/sessions`).
        out: the dataset's folder; made where there is none.
        workers: processes to read with; as many as the machine has cores where None.
        readings: put the readings themselves in too; a dataset that has them keeps doing so.
        scheduler: a Dask cluster to read with instead: its address, or a client that you have configured.

    Raises:
        DatasetError: a folder holds no session, the cluster cannot do the work, or the dataset cannot be read or
            written; it is then as it was after the last round that was complete.
    """
    out, tops = Path(out).resolve(), [_full(folder) for folder in folders]
    with collecting(out):
        held = _held(out)
        readings = readings or holds_readings(held)
        there = {one.name: one for top in tops for one in sources(top, readings=readings)}
        changed = [
            one for one in there.values() if one.name not in held or held[one.name].fingerprint != one.fingerprint
        ]
        inside = tuple(f"{plain(top).rstrip('/')}/" for top in tops)
        gone = [name for name in held if name not in there and f"{name}/".startswith(inside)]
        problems = (
            _bring_in(out, held, changed, gone, _executor(tops, len(changed), workers, scheduler))
            if changed or gone
            else []
        )
    return Collected(len(changed), len(there) - len(changed), len(gone), sorted(problems))


def _held(out: Path) -> dict[str, Known]:
    """Return what a dataset holds: by its list, or by its tables where that is missing or damaged."""
    held = read_held(out)
    if held is None and out.exists():
        from meterlog.fleet.dataset import held_by_tables

        held = held_by_tables(out)
        (out / NAME).unlink(missing_ok=True)  # the next that is written is whole
    return held or {}


def _full(folder: Path | str) -> str:
    return str(folder) if "://" in str(folder) else str(Path(folder).resolve())


def _executor(
    tops: Sequence[str], sessions: int, workers: int | None, scheduler: str | Client | None
) -> AbstractContextManager[Executor]:
    """Return what does the work: a cluster, or this machine."""
    if scheduler is None:
        from meterlog.fleet.work import this_machine

        return this_machine(sessions, workers)
    from meterlog.fleet.cluster import cluster  # of an extra

    return cluster(scheduler, tops)


def _bring_in(
    out: Path,
    held: dict[str, Known],
    changed: Sequence[Found],
    gone: Sequence[str],
    executor: AbstractContextManager[Executor],
) -> list[tuple[str, str]]:
    """Read what has changed, a round after the other; the path and reason of what cannot be read."""
    from meterlog.fleet.work import extracted

    problems: list[tuple[str, str]] = []
    rounds = _rounds(changed) or [[]]
    with executor as running:
        from meterlog.fleet.dataset import publish  # pyarrow: to see that nothing changed needs none

        for some, new in zip(rounds, extracted(running, rounds), strict=True):
            publish(out, new, held, [*(one.name for one in some), *gone])
            gone = ()
            problems += [(row["session"], row["problem"]) for row in new["problems"].to_pylist()]
    return problems


def _rounds(changed: Sequence[Found]) -> list[list[Found]]:
    rounds: list[list[Found]] = []
    size = 0
    for one in changed:
        weight = one.size if one.fingerprint.endswith(WITH_READINGS) else 0
        if not rounds or len(rounds[-1]) == _ROUND or size + weight > _ROUND_BYTES:
            rounds.append([])
            size = 0
        rounds[-1].append(one)
        size += weight
    return rounds
