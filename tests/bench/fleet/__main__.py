"""Measures what it costs to collect a made-up fleet, beside `analyze` in a loop, and again with nothing changed.

    python -m tests.bench.fleet [--seed N] [--vans N] [--sessions N]    (sessions of each van; 50 x 200 is a year)

By processor time, of all processes: other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from tests.bench.fleet.generate import generate
from tests.bench.results import printed

_AGAIN_SHARE = 0.01
"""Of the first time that a collection with nothing changed may take (a goal of our own, from 1,000 sessions on)."""
_LOOPED = 200
"""Sessions that are analyzed one after the other for comparison. A choice."""

_LOOP = "import sys; from meterlog.loaded import load\nfor path in sys.argv[1:]: load(path).analysis"


def _processor_s(words: Sequence[str]) -> float:
    """Run Python, and return the processor time that it and its children took, s."""
    before = os.times()
    subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)
    after = os.times()
    return after.children_user + after.children_system - before.children_user - before.children_system


def measure(seed: int, vans: int, sessions: int) -> None:
    """Print the figures of one fleet."""
    with tempfile.TemporaryDirectory() as top:
        made, out = Path(top, "sessions"), Path(top, "fleet")
        generate(made, seed, vans, sessions)
        files = sorted(made.rglob("*.sqlite"))
        collect = ["-m", "meterlog", "collect", str(made), "--out", str(out), "--workers"]
        once = _processor_s([*collect, "2"])
        again = min(_processor_s([*collect, "2"]) for _ in range(3))
        step = max(1, len(files) // _LOOPED)
        looped = files[::step]
        loop = _processor_s(["-c", _LOOP, *map(str, looped)])
        sizes = [sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) for folder in (made, out)]
    print(f"seed {seed}: {len(files)} sessions of {vans} vans, {sizes[0] / 1e6:.1f} MB; load {os.getloadavg()[0]:.1f}")
    print(f"collect, two workers: {once:.1f} s of processor, {1e3 * once / len(files):.1f} ms a session")
    print(f"analyze in a loop, one process: {1e3 * loop / len(looped):.1f} ms a session (of {len(looped)})")
    met = "met" if again <= _AGAIN_SHARE * once else "missed"
    print(f"again, nothing changed: {again:.3f} s, {again / once:.2%} of that (goal {_AGAIN_SHARE:.0%}: {met})")
    print(f"the dataset: {sizes[1] / 1e6:.2f} MB")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=21)
    parser.add_argument("--vans", type=int, default=50)
    parser.add_argument("--sessions", type=int, default=200)
    words = parser.parse_args()
    with printed("fleet"):
        measure(words.seed, words.vans, words.sessions)
