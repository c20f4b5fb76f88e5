"""Ends this process where one thread lets no other run: nothing is recorded any more, and no signal is heard."""

from __future__ import annotations

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager

FROZEN_S = 5.0
"""Processor time without any other thread's turn after which the process ends, s (guess: the longest legitimate turn,
of a library that computes, is some tenths)."""

_TURN_S = 0.5
"""Time between two looks at the other threads, s (a guess)."""


@contextmanager
def ending_when_frozen() -> Iterator[None]:
    """Inside, the system ends the process when a thread holds the interpreter for `FROZEN_S` of processor time.

    Native code of a driver from outside may do that, and then no Python code can end anything: only the system's own
    timer runs. What was committed is in the session. The timer counts processor time, not the clock, so that a
    suspension, a stopped process or a busy computer never set it off. Does nothing on Windows, which has none.
    """
    if sys.platform == "win32":
        yield
        return
    ended = threading.Event()

    def put_off() -> None:
        while not ended.wait(_TURN_S):
            signal.setitimer(signal.ITIMER_VIRTUAL, FROZEN_S)

    signal.setitimer(signal.ITIMER_VIRTUAL, FROZEN_S)
    turn = threading.Thread(target=put_off, name="turn", daemon=True)
    turn.start()
    try:
        yield
    finally:
        ended.set()
        turn.join()
        signal.setitimer(signal.ITIMER_VIRTUAL, 0.0)
