"""Runs the tests as on a computer that is busy with other things: `pytest -p tests.as_busy`.

Every now and then one of the run's processes, the tests' own or one that a test started, is stopped for up to
`LONGEST_S` and goes on, as a scheduler does when others take the cores. A test that asks for haste fails here.
"""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time

import psutil
import pytest

LONGEST_S = 1.5  # what a shared machine was seen to take away at a stretch
SHORTEST_S, PAUSES_PER_S = 0.05, 3.0


def pytest_configure(config: pytest.Config) -> None:
    """Start what stops and wakes the processes, once a run."""
    if not hasattr(config, "workerinput"):
        stopper = subprocess.Popen([sys.executable, __file__, str(psutil.Process().pid)])

        def end() -> None:
            stopper.terminate()
            stopper.wait()

        config.add_cleanup(end)


def stop_and_wake(run: psutil.Process, draw: random.Random) -> None:
    """Take time away from one process after the other, as long as the run goes on."""
    ourselves = psutil.Process()
    while run.is_running() and run.status() != psutil.STATUS_ZOMBIE:
        time.sleep(draw.expovariate(PAUSES_PER_S))
        try:
            stopped = draw.choice([run, *(child for child in run.children(recursive=True) if child != ourselves)])
            if stopped.status() == psutil.STATUS_STOPPED:
                continue  # a test stands it still by itself
            stopped.suspend()
            try:
                time.sleep(draw.uniform(SHORTEST_S, LONGEST_S))
            finally:
                stopped.resume()
        except psutil.Error:
            continue  # it ended meanwhile


if __name__ == "__main__":
    signal.signal(signal.SIGTERM, lambda *_: sys.exit())  # what is stopped at that moment goes on first
    stop_and_wake(psutil.Process(int(sys.argv[1])), random.Random())
