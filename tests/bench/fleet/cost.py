"""Runs a program and says what it cost: time, processor time and memory, with all the processes that it starts."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass

import psutil

_LOOK_S = 0.1
"""Says how often the processes are looked at: what one takes after the last look is missing. A choice."""


@dataclass(frozen=True)
class Cost:
    """Holds what a program cost.

    Attributes:
        elapsed_s: s.
        processor_s: of the program itself, s.
        helpers_s: processor time of the processes that it started, s.
        peak_bytes: memory of all at once, each shared page counted once.
    """

    elapsed_s: float
    processor_s: float
    helpers_s: float
    peak_bytes: int

    @property
    def all_s(self) -> float:
        """Processor time of all, s."""
        return self.processor_s + self.helpers_s


def cost_of(words: Sequence[str]) -> Cost:
    """Run Python to its end.

    Args:
        words: its arguments.

    Raises:
        subprocess.CalledProcessError: it failed.
    """
    began_s = time.perf_counter()
    with subprocess.Popen([sys.executable, *words], stdout=subprocess.DEVNULL) as running:
        spent_s: dict[int, float] = {}
        peak_bytes = 0
        while running.poll() is None:
            peak_bytes = max(peak_bytes, _look(psutil.Process(running.pid), spent_s))
            time.sleep(_LOOK_S)
    elapsed_s = time.perf_counter() - began_s
    if running.returncode:
        raise subprocess.CalledProcessError(running.returncode, words)
    own_s = spent_s.pop(running.pid, 0.0)
    return Cost(elapsed_s, own_s, sum(spent_s.values()), peak_bytes)


def _look(top: psutil.Process, spent_s: dict[int, float]) -> int:
    """Note the processor time of each process so far, s; the bytes that all hold."""
    held = 0
    try:
        every = [top, *top.children(recursive=True)]
    except psutil.NoSuchProcess:
        return 0
    for process in every:
        try:
            times = process.cpu_times()
            spent_s[process.pid] = times.user + times.system
            held += process.memory_full_info().pss
        except (psutil.NoSuchProcess, psutil.AccessDenied, psutil.ZombieProcess):
            continue
    return held
