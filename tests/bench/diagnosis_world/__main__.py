"""Diagnoses vehicles of several worlds by the product and by two plain orders, and says how often each is right.

    python -m tests.bench.diagnosis_world [--quick] [--world garage] [--seed 1] [--faults 1000] [--sound 200] [--jobs 2]
        [--keep FOLDER] [--minutes 60]

Develop on seeds below 1000; figures in RESULTS.md come from seeds never looked at before.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import numpy as np

from tests.bench.diagnosis_world.kept import Kept
from tests.bench.diagnosis_world.person import from_battery_on, half_split
from tests.bench.diagnosis_world.report import lines
from tests.bench.diagnosis_world.search import Bench, Outcome
from tests.bench.diagnosis_world.speed import lines as speed_lines
from tests.bench.diagnosis_world.tool import follow
from tests.bench.diagnosis_world.worlds import WORLDS, make_case
from tests.bench.results import printed

ORDERS: dict[str, Callable[[Bench], str]] = {"battery on": from_battery_on, "half-split": half_split}
QUICK_FAULTS, QUICK_SOUND = 90, 20
FAULTS, SOUND = 1000, 200


Task = tuple[str, int, int, bool]
"""World, seed, number, sound."""


def one(task: Task) -> dict[str, Outcome]:
    """One vehicle, found by every way; each way meets the same vehicle."""
    name, seed, k, sound = task
    world = WORLDS[name]
    stream = (zlib.crc32(name.encode()), seed, k, int(sound))
    case = make_case(world, np.random.default_rng(stream), sound=sound)
    found = {"tool": follow(case, Bench(case.vehicle, world.bad_share, np.random.default_rng((*stream, 1))))}
    for order, search in ORDERS.items():
        bench = Bench(case.vehicle, world.bad_share, np.random.default_rng((*stream, 1)))
        answer = search(bench)
        right = answer in case.right
        found[order] = Outcome(case.fault, answer, right, right, len(bench.taken), bench.minutes, tale=bench.tale)
    return found


def run(tasks: Sequence[Task], kept: dict[str, Kept], jobs: int, seconds: float) -> None:
    """Run what is not kept yet, and keep it; begin nothing after so many seconds."""
    until = time.monotonic() + seconds
    left = [t for t in tasks if (t[2], t[3]) not in kept[t[0]].rows]
    with ProcessPoolExecutor(jobs) as pool:
        begun = {pool.submit(one, task): task for task in left}
        try:
            for done in as_completed(begun):
                world, _, k, sound = begun[done]
                kept[world].add(k, sound, done.result())
                if time.monotonic() > until:
                    break
        finally:  # a vehicle that fails ends the run at once, not after all the others
            pool.shutdown(cancel_futures=True)


def main() -> int:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_FAULTS} faults; nothing goes to RESULTS.md")
    parser.add_argument("--world", choices=list(WORLDS), action="append")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", type=int)
    parser.add_argument("--sound", type=int)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", metavar="FOLDER", type=Path, help="go on with what an earlier run kept there")
    parser.add_argument("--minutes", type=float, default=float("inf"), help="then report what there is")
    parser.add_argument("--wrong", metavar="CLASS", help="print the readings of what went wrong in classes named so")
    parser.add_argument("--speed", action="store_true", help="time a suggestion instead")
    args = parser.parse_args()
    if args.speed:
        with printed("Diagnosis, speed of a suggestion"):
            print("\n".join(speed_lines()))
        return 0
    faults = args.faults or (QUICK_FAULTS if args.quick else FAULTS)
    sound = args.sound or (QUICK_SOUND if args.quick else SOUND)
    worlds = args.world or list(WORLDS)
    share = {False: faults, True: sound}
    tasks = [
        (name, args.seed, k, is_sound) for is_sound, count in share.items() for k in range(count) for name in worlds
    ]
    tasks.sort(key=lambda task: task[2] / share[task[3]])  # a run that is stopped has some of all
    with tempfile.TemporaryDirectory() as folder:
        kept = {name: Kept(args.keep or Path(folder), name, args.seed) for name in worlds}
        run(tasks, kept, args.jobs, 60 * args.minutes)
    for name in worlds:
        rows = [row for _, row in sorted(kept[name].rows.items())]
        told = [f"world '{name}', seed {args.seed}: " + lines(rows)[0], *lines(rows)[1:]]
        if args.quick:
            print("\n".join(told))
        else:
            with printed(f"Diagnosis, world '{name}'"):
                print("\n".join(told))
        for o in (r["tool"] for r in rows):
            if args.wrong is not None and args.wrong in o.fault and not o.right:
                print(f"{o.fault}: {o.answer}: {o.tale}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
