"""Measures what it costs to collect a made-up fleet, beside `analyze` in a loop, and whether the right vans are found.

    nice python -m tests.bench.fleet [--seed N] [--vans N] [--sessions N] [--made FOLDER]

50 vans with 200 sessions each are a year; `--made` keeps the sessions there, or takes those that are there already.
Times are elapsed and of the processor; where others use the machine, only the latter carry over.
"""

from __future__ import annotations

import argparse
import os
import tempfile
from pathlib import Path

from tests.bench.fleet.cost import Cost, cost_of
from tests.bench.fleet.found import verdicts
from tests.bench.fleet.generate import generate
from tests.bench.fleet.on_cluster import rates
from tests.bench.fleet.world import fleet
from tests.bench.results import printed

_AGAIN_SHARE = 0.01
"""Of the first time that a collection with nothing changed may take (a goal of our own, from 1,000 sessions on)."""
_TWICE = 1.7
"""So many times as fast two workers should be as one (a goal of our own)."""
_LOOPED = 1_000
"""Sessions that are analyzed one after the other for comparison. A choice."""
_ON_CLUSTER_VANS = 10
"""Vans whose sessions a cluster collects, and one more before. A choice: it is done twice."""

_LOOPS = {
    "load(path).analysis": (
        "import sys; from meterlog.loaded import load\nfor path in sys.argv[1:]: load(path).analysis"
    ),
    "meterlog analyze PATH": (
        "import sys; from meterlog.cli import main\nfor path in sys.argv[1:]: main(['analyze', path])"
    ),
}


def measure(made: Path, out: Path, seed: int, vans: int, sessions: int) -> None:
    """Print the figures of one fleet."""
    if not made.exists():
        generate(made, seed, vans, sessions)
    files = sorted(made.rglob("*.sqlite"))
    print(f"seed {seed}: {len(files)} sessions of {vans} vans, {_bytes(made) / 1e6:.1f} MB")
    one = _collected(made, out / "one", 1, len(files))
    two = _collected(made, out / "two", 2, len(files))
    faster = one.elapsed_s / two.elapsed_s
    print(f"two workers are {faster:.2f} times as fast as one (goal {_TWICE}: {_met(faster >= _TWICE)})")
    again = min((cost_of(_words(made, out / "two", 2)) for _ in range(3)), key=lambda cost: cost.elapsed_s)
    share = again.elapsed_s / two.elapsed_s
    print(f"again, nothing changed: {again.elapsed_s:.2f} s, {share:.2%} of that ({_goal(share)})")
    print(f"the dataset: {_bytes(out / 'two') / 1e6:.2f} MB")
    looped = [str(path) for path in files[:: max(1, len(files) // _LOOPED)]]
    for name, code in _LOOPS.items():
        print(f"in a loop, one process, {name}: {_a_session(cost_of(['-c', code, *looped]), len(looped))}")
    folders = sorted(made.iterdir())[: _ON_CLUSTER_VANS + 1]
    alone, both = rates(folders)
    efficiency = both / alone / 2
    print(f"Dask, local, {len(folders) - 1} vans: one worker {alone:.0f} sessions/s, two {both:.0f}, ", end="")
    print(f"efficiency {efficiency:.0%}")
    print(*verdicts(out / "two", fleet(seed, vans)), sep="\n")
    print(f"load meanwhile: {', '.join(f'{load:.1f}' for load in os.getloadavg())} (1, 5, 15 minutes)")


def _collected(made: Path, out: Path, workers: int, sessions: int) -> Cost:
    cost = cost_of(_words(made, out, workers))
    print(f"collect, {workers} worker{'s' if workers > 1 else ''}: {_a_session(cost, sessions)}")
    inside = f"{cost.processor_s:.1f} s of it not in the workers, " if workers > 1 else ""
    print(f"    in all {cost.elapsed_s:.1f} s, {inside}at most {cost.peak_bytes / 1e6:.0f} MB of memory")
    return cost


def _words(made: Path, out: Path, workers: int) -> list[str]:
    return ["-m", "meterlog", "collect", str(made), "--out", str(out), "--workers", str(workers)]


def _a_session(cost: Cost, sessions: int) -> str:
    return (
        f"{1e3 * cost.elapsed_s / sessions:.1f} ms a session elapsed,"
        f" {1e3 * cost.all_s / sessions:.1f} ms of processor ({sessions} sessions)"
    )


def _bytes(folder: Path) -> int:
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def _met(is_met: bool) -> str:
    return "met" if is_met else "missed"


def _goal(share: float) -> str:
    return f"goal {_AGAIN_SHARE:.0%}: {_met(share <= _AGAIN_SHARE)}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--vans", type=int, default=50)
    parser.add_argument("--sessions", type=int, default=200)
    parser.add_argument("--made", type=Path)
    words = parser.parse_args()
    with printed("fleet"), tempfile.TemporaryDirectory() as top:
        measure(words.made or Path(top, "sessions"), Path(top), words.seed, words.vans, words.sessions)
