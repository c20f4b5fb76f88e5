"""Measures the cost of recording: processor, memory, lost readings, error of the arrival time.

`python -m tests.bench.record [SECONDS]` runs the real `meterlog record` as a process of its own on ten emulated meters
(real pseudo-terminals, real frames, a second process) that send ten readings a second each, once with plain lines and
once with the live view on a terminal. Goals: none lost, 8 % of one core, 90 MB, arrival time within 2 ms for 99 of
100 readings. Beside the arrival time stands what the same machine does at the same time without us: a bare loop that
reads one more of the meters and does nothing else.
"""

from __future__ import annotations

import os
import resource
import select
import subprocess
import sys
import tempfile
import time
import tty
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.address import Address
from meterlog.driver import load_driver
from meterlog.driver.framing import FramingDriver
from meterlog.reading import Flag, Quantity, Reading
from meterlog.session import open_reader
from tests.bench.table import Row, at_most, show

METERS, RATE_HZ = 10, 10.0
CPU_GOAL, MEMORY_GOAL_MB, ARRIVAL_GOAL_MS = 8.0, 90.0, 2.0
_LEAD_S = 2.0  # the recorder starts within this


def emulate(meters: int, rate_hz: float, seconds: float, log: Path) -> None:
    """Send counting values on pseudo-terminals, evenly staggered; keep when each was written, by meter."""
    driver = load_driver("status14")
    assert isinstance(driver, FramingDriver)
    encoder = driver.encoder(Address.parse("status14:x"))
    count = round(seconds * rate_hz)
    frames = [
        encoder.encode([Reading(0.0, round(0.01 * i, 2), Quantity.DC_VOLTAGE, 0.01, Flag.DC)]) for i in range(count)
    ]
    masters = []
    for _ in range(meters):
        master, slave = os.openpty()
        tty.setraw(slave)
        masters.append(master)
        print(os.ttyname(slave), flush=True)
    written = np.zeros((meters, count))
    begin = time.monotonic() + 0.2
    for i in range(count):
        for meter, master in enumerate(masters):
            due = begin + (i + meter / meters) / rate_hz
            time.sleep(max(0.0, due - time.monotonic()))
            written[meter, i] = time.monotonic()
            os.write(master, frames[i])
    np.save(log, written)
    sys.stdin.read()  # keep the ports until the recorder has ended


def read_bare(port: str, log: Path) -> None:
    """Read one emulated meter as simply as can be; keep which frame came when, until the port is gone."""
    reader = os.open(port, os.O_RDONLY | os.O_NOCTTY)
    came = []
    try:
        while data := os.read(reader, 4096):
            if len(data) == 14:  # one frame alone; at first it takes what had gathered
                came.append((int(data[1:5]), time.monotonic()))
    except OSError:
        pass
    np.save(log, np.array(came))


class Cost(NamedTuple):
    """The cost of one recording; `bare_ms` is the error of the bare loop."""

    lost: int
    readings: int
    cpu_percent: float
    memory_mb: float
    arrival_ms: tuple[float, float, float]
    bare_ms: tuple[float, float, float]
    start_ms: float


def record(folder: Path, seconds: float, meters: int, rate_hz: float, screen: bool) -> Cost:
    """Record emulated meters for so long and compare with what they sent."""
    log, session = folder / f"{screen}.npy", folder / f"{screen}.sqlite"
    bare_log = folder / f"{screen}-bare.npy"
    emulator = _module("--emulate", str(meters + 1), str(rate_hz), str(seconds + _LEAD_S), str(log))
    with emulator:
        assert emulator.stdout is not None
        assert emulator.stdin is not None
        *ports, bare_port = [emulator.stdout.readline().strip() for _ in range(meters + 1)]
        with _module("--read", bare_port, str(bare_log)):
            options = [word for port in ports for word in ("--meter", f"status14:{port}")]
            command = [
                sys.executable,
                "-m",
                "meterlog",
                "record",
                *options,
                "--for",
                str(seconds),
                "--out",
                str(session),
            ]
            spawned, status, usage = time.monotonic(), *_run(command, screen)
            wall = time.monotonic() - spawned
            _wait_for(log, _LEAD_S + 5)
            emulator.stdin.close()
    if status:
        sys.exit(f"record failed with status {status}")
    cpu_percent = 100 * (usage.ru_utime + usage.ru_stime) / wall
    *recorded, bare = np.load(log)
    lost, readings, arrival_ms, first_s = _compare(session, dict(zip(ports, recorded, strict=True)))
    frames, came = np.load(bare_log).T
    bare_ms = _figures(np.abs(came - bare[frames.astype(int)]))
    return Cost(lost, readings, cpu_percent, usage.ru_maxrss / 1024, arrival_ms, bare_ms, 1000 * (first_s - spawned))


def _module(*words: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.bench.record", *words]
    return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)


def _figures(error_s: NDArray[np.float64]) -> tuple[float, float, float]:
    """Median, 99 % and worst, in ms."""
    error_ms = 1000 * error_s
    return float(np.median(error_ms)), float(np.quantile(error_ms, 0.99)), float(error_ms.max())


def _run(command: list[str], screen: bool) -> tuple[int, resource.struct_rusage]:
    """Run to the end; on a terminal whose output is read, or with its output in a file."""
    if not screen:
        with tempfile.TemporaryFile() as output:
            process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=output)
            _, status, usage = os.wait4(process.pid, 0)
        process.returncode = os.waitstatus_to_exitcode(status)
        return process.returncode, usage
    master, slave = os.openpty()
    process = subprocess.Popen(command, stdin=slave, stdout=slave, start_new_session=True)
    os.close(slave)
    while select.select([master], [], [], 120)[0]:
        try:
            os.read(master, 65536)
        except OSError:
            break
    os.close(master)
    _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    return process.returncode, usage


def _wait_for(file: Path, timeout_s: float) -> None:
    give_up = time.monotonic() + timeout_s
    while not file.exists() and time.monotonic() < give_up:
        time.sleep(0.05)


def _compare(session: Path, sent: dict[str, NDArray[np.float64]]) -> tuple[int, int, tuple[float, float, float], float]:
    """Match each channel with what its meter sent, by the counting values.

    Returns:
        Readings lost between the first and the last of each channel; all readings; the error of their times in ms,
        median, at 99 % and at worst; when the first was read, on the monotonic clock, s.
    """
    lost = total = 0
    errors, firsts = [], []
    with open_reader(session) as reader:
        for channel in reader.channels:
            series = reader.series(channel.number)
            counted = np.round(series.value * 100).astype(int)
            times = series.time_s + reader.monotonic_start_s
            lost += int(np.sum(np.diff(counted) - 1))
            total += len(series)
            errors.append(np.abs(times - sent[Address.parse(channel.address).target][counted]))
            firsts.append(times[0])
    return lost, total, _figures(np.concatenate(errors)), float(min(firsts))


def first_byte_ms(folder: Path) -> float:
    """From the start of `record` to the first frame read, of a meter that sends one every 2 ms; best of five, ms."""
    starts = []
    for attempt in range(5):
        again = folder / str(attempt)
        again.mkdir()
        starts.append(record(again, 0.5, 1, 500.0, False).start_ms)
    return min(starts)


def rows(seconds: float = 60.0) -> Iterator[Row]:
    """Plain lines, then the live view."""
    for screen in (False, True):
        with tempfile.TemporaryDirectory() as folder:
            cost = record(Path(folder), seconds, METERS, RATE_HZ, screen)
        what = f"recording {METERS} meters at {RATE_HZ:g}/s, {'live view' if screen else 'plain lines'}"
        yield at_most(f"{what}, of {cost.readings + cost.lost} readings", cost.lost, 0, "lost")
        yield at_most(f"{what}, all included", cost.cpu_percent, CPU_GOAL, "% of a core")
        yield at_most(f"{what}, peak memory", cost.memory_mb, MEMORY_GOAL_MB, "MB")
        (median, most, worst), (_, bare, bare_worst) = cost.arrival_ms, cost.bare_ms
        ratio = f"a bare loop {bare:.2f}; worst {worst:.1f} and {bare_worst:.1f}; median {median:.2f}"
        yield at_most(f"{what}, arrival time at 99 %", most, ARRIVAL_GOAL_MS, "ms", ratio)


def main() -> int:
    """Run and print."""
    if sys.argv[1:2] == ["--emulate"]:
        emulate(int(sys.argv[2]), float(sys.argv[3]), float(sys.argv[4]), Path(sys.argv[5]))
        return 0
    if sys.argv[1:2] == ["--read"]:
        read_bare(sys.argv[2], Path(sys.argv[3]))
        return 0
    return int(show(rows(*map(float, sys.argv[1:2]))) > 0)


if __name__ == "__main__":
    sys.exit(main())
