"""Measures how long a folder of many sessions takes to list and to search, with its index and without.

    python -m tests.bench.folder_index [--sessions N ...]

The sessions are links to a few hundred files: what a list costs is to find, to open and to sum them up.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.folder_index import NAME
from meterlog.session.writer import SessionWriter
from tests.bench.results import printed

GOALS = {5_000: 1.0, 100_000: 3.0}
"""Time to list so many sessions in a new process, s, the index being there."""
SEARCH_S = 0.2
_FILES = 200
_REPEATS = 3

_SEARCH = """
import sys, time
from pathlib import Path
from meterlog.session.summary import holding
from meterlog_dashboard.session_files.session_list import SessionList
listed = SessionList(Path(sys.argv[1]))
began = time.perf_counter()
known = len(listed.so_far()[0])
listed.all(), listed.so_far()
first = time.perf_counter() - began
time.sleep(4.0)
took, spent = [], []
for word in ("van 7", "feed", "nothing like it"):
    began, before = time.perf_counter(), time.thread_time()
    found = holding(listed.so_far(3.0)[0], [word])
    took.append(time.perf_counter() - began)
    spent.append(time.thread_time() - before)
print(first, max(took), max(spent))
"""


def make(folder: Path, sessions: int) -> None:
    """Write a few sessions, and link the others to them."""
    time_s = np.arange(0.0, 8.0, 0.25)
    files = []
    for number in range(min(_FILES, sessions)):
        path = folder / f"session-{number:06}.sqlite"
        began = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(days=number)
        details = {"vehicle": f"van {number}", "complaint": "cranks, does not start", "temperature_c": "12"}
        with SessionWriter.create(path, started_at=began, details=details) as writer:
            for label in ("battery", "pump feed", "pump ground drop"):
                channel = writer.add_channel(label, Quantity.DC_VOLTAGE, driver="text")
                writer.append_series(channel, Series(time_s, time_s, np.full(32, 0.01, "f4"), np.zeros(32, "u2")))
        files.append(path)
    for number in range(len(files), sessions):
        os.link(files[number % len(files)], folder / f"session-{number:06}.sqlite")


def measure(sessions: int) -> None:
    """Print the times for a folder of so many sessions."""
    with tempfile.TemporaryDirectory() as top:
        make(Path(top), sessions)
        command = [sys.executable, "-m", "meterlog", "sessions", top]

        def timed(*words: str) -> tuple[float, float]:
            began, before = time.perf_counter(), os.times()
            subprocess.run([*command, *words], check=True, stdout=subprocess.DEVNULL)
            elapsed_s, after = time.perf_counter() - began, os.times()
            spent = after.children_user - before.children_user, after.children_system - before.children_system
            return elapsed_s, sum(spent)

        first, first_spent = timed()
        size = Path(top, NAME).stat().st_size
        asked = ((), ("--limit", "50"), ("--with", "van 7"))
        (every, spent), (few, _), (search, _) = (min(timed(*words) for _ in range(_REPEATS)) for words in asked)
        out = subprocess.run([sys.executable, "-c", _SEARCH, top], check=True, capture_output=True, text=True).stdout
        page, found, found_spent = map(float, out.split())
    goal = GOALS.get(sessions)
    met = "" if goal is None else f" (goal {goal:g} s: {'met' if every <= goal else 'missed'})"
    print(
        f"{sessions} sessions: listed in {every:.2f} s{met}, the newest 50 in {few:.2f} s, by a word in {search:.2f} s"
    )
    print(f"  of a processor, which is what carries over from a busy machine: listed in {spent:.2f} s")
    print(
        f"  the first time, without an index: {first:.1f} s, {first_spent:.1f} s of a processor;"
        f" the index has {size / 1e6:.1f} MB"
    )
    met = "met" if found <= SEARCH_S else "missed"
    print(
        f"  the page: its list is there after {page:.2f} s, a search takes {1e3 * found:.0f} ms (goal 200 ms: {met}),"
    )
    print(f"  {1e3 * found_spent:.0f} ms of a processor")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sessions", type=int, nargs="+", default=list(GOALS))
    with printed("folder_index"):
        print(f"load {os.getloadavg()[0]:.1f}; the best of {_REPEATS} each, each in a new process")
        for some in parser.parse_args().sessions:
            measure(some)
