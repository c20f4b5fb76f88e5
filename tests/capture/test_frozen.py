"""A thread that lets no other run ends the process; one that only hangs, or a process that is busy or stopped, not."""

from __future__ import annotations

import signal
import subprocess
import sys

import pytest

pytestmark = pytest.mark.skipif(not hasattr(signal, "setitimer"), reason="no such timer here")

PROGRAM = """
import re, threading, time
from meterlog.capture import frozen
frozen.FROZEN_S, frozen._TURN_S = 0.3, 0.05
with frozen.ending_when_frozen():
    thread = threading.Thread(target=lambda: {work}, daemon=True)
    thread.start()
    time.sleep(1.0)
print("ended well")
"""


def run(work: str) -> tuple[int, str]:
    done = subprocess.run([sys.executable, "-c", PROGRAM.format(work=work)], capture_output=True, check=False)
    return done.returncode, done.stdout.decode()


def test_a_thread_that_never_gives_way_ends_the_process() -> None:
    assert run("re.match('(a+)+$', 'a' * 60 + 'b')") == (-signal.SIGVTALRM, "")


def test_a_thread_that_is_merely_busy_does_not() -> None:
    assert run("[sum(range(1000)) for _ in iter(int, 1)]") == (0, "ended well\n")
