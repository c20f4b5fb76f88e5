"""Every goal of speed in one table: `python -m tests.bench [NAME ...]`; without names all of SPEED, some 8 minutes.

The tables go to RESULTS.md too.

How well things are found, decoded and diagnosed is judged by benches that have tables of their own and run longer:
`python -m tests.bench.detection`, `.van`, `.diagnosis`, `.bitflips`, `.fuzz`.
What files, logs and meters that are damaged or hostile do has its own too: `.hostile`, `.rot`, `.kills`, `.job_kills`,
`.fuzz_bytes`, `.arrival`.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np

from tests.bench.results import write
from tests.bench.table import best_s, markdown, rows_of, show

SPEED = (
    "store",
    "files",
    "decode",
    "record",
    "speed",
    "draw",
    "start",
    "demo",
    "page.live",
    "page.review",
    "page.large",
    "page.downloads",
    "page.first_view",
)
MORE = ("ble", "board", "imports")
"""Run only when they are named: minutes each; `ble` wants dbus-daemon."""


def main() -> int:
    """Print the table; 1 where a goal is missed."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("names", metavar="NAME", nargs="*", help=f"of {', '.join((*SPEED, *MORE))}")
    names = parser.parse_args().names or SPEED
    if unknown := set(names) - {*SPEED, *MORE}:
        parser.error(f"there is no bench {', '.join(sorted(unknown))}")
    missed, begun_s = 0, time.monotonic()
    for k, name in enumerate(names):
        # In a process of its own: what one bench leaves in memory is no cost of the next one's children.
        with ProcessPoolExecutor(1, get_context("spawn")) as pool:
            rows = pool.submit(rows_of, name).result()
        missed += show(rows, heading=k == 0)
        write(f"Speed: {name}", markdown(rows))
    values = np.ones(10_000_000)
    sum_ms = 1000 * best_s(values.sum)
    busy = f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"\n{missed} goals missed; {time.monotonic() - begun_s:.0f} s; {busy}")
    print(f"one numpy.sum of 10 M values takes {sum_ms:.1f} ms at the end; 3.0 ms on a quiet machine of this kind")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
