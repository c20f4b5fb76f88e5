"""Measures what a recorder that is always on costs a small computer: processor, memory and bytes written to its card.

It records the simulated van for two minutes, held to one core, and counts what the system says of its process. The
processor here is several times as fast as a small board's: its share is to be multiplied by that.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

import psutil

from meterlog.session.writer import COMMIT_INTERVAL_S
from tests.bench.table import Row, at_most

_RECORDED_S = 120.0
_STARTED_S = 10.0
"""Importing is over by then: what comes after is what each day costs."""
_DAY_S = 86_400.0

_CORE_SHARE_PERCENT = 5.0
"""Of one core here; ten times as slow a board has half a core left then (a goal of our own)."""
_MEMORY_MB = 120.0
"""A board with 512 MB has room for it beside its system (a goal of our own)."""
_WRITTEN_MB_A_DAY = 2000.0
"""A card of 32 GB that bears 500 rewrites lasts 20 years at that (a guess of a cheap card's endurance)."""


def rows() -> Iterator[Row]:
    """Measure one meter at three readings a second, and ten of them; saved as usual, and every ten seconds."""
    for meters, save_s in ((1, COMMIT_INTERVAL_S), (1, 10.0), (10, 10.0)):
        yield from _rows(meters, save_s)


def _rows(meters: int, save_s: float) -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        words = ["record", "--for", f"{_RECORDED_S:g}", "--quiet", "--out", "a.sqlite", "--save-every", f"{save_s:g}"]
        for number in range(meters):
            words += ["--meter", f"status14:{_port(stack, number)}"]
        recorder = psutil.Popen(
            ["taskset", "-c", "0", sys.executable, "-m", "meterlog", *words], cwd=folder, stdout=subprocess.DEVNULL
        )
        time.sleep(_STARTED_S)
        before, begun_s = _used(recorder), time.monotonic()
        time.sleep(_RECORDED_S - 2 * _STARTED_S)
        cpu_s, written = (now - then for now, then in zip(_used(recorder), before, strict=True))
        spent_s = time.monotonic() - begun_s
        memory_mb = recorder.memory_info().rss / 1e6
        if recorder.wait():
            raise RuntimeError("the recorder failed, so nothing was measured")
        kept_mb = (Path(folder) / "a.sqlite").stat().st_size / 1e6 * _DAY_S / _RECORDED_S
    who = f"{'one meter' if meters == 1 else f'{meters} meters'} saved every {save_s:g} s"
    yield at_most(f"{who}: share of a core", 100 * cpu_s / spent_s, _CORE_SHARE_PERCENT, "%")
    yield at_most(f"{who}: memory", memory_mb, _MEMORY_MB, "MB")
    a_day = written / 1e6 * _DAY_S / spent_s
    ratio = f"{a_day / kept_mb:.0f} times what is kept"
    yield at_most(f"{who}: written a day", a_day, _WRITTEN_MB_A_DAY, "MB", ratio)


def _port(stack: ExitStack, seed: int) -> str:
    """A meter on a pseudo-terminal, for as long as the stack is open."""
    words = [sys.executable, "-m", "meterlog", "emulate", "healthy-crank", "--seed", str(seed)]
    emulator = stack.enter_context(subprocess.Popen(words, stdout=subprocess.PIPE, text=True))
    stack.callback(emulator.terminate)
    if emulator.stdout is None:
        raise RuntimeError("the emulator has no output")
    return emulator.stdout.readline().strip()


def _used(process: psutil.Popen) -> tuple[float, float]:
    times = process.cpu_times()
    return times.user + times.system, float(process.io_counters().write_bytes)
