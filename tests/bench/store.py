"""The session file against its goals, as ratios in one run: `python -m tests.bench.store --readings N --kills N`."""

from __future__ import annotations

import argparse
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

import meterlog
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader

RECORDER = """
import sys, time
from meterlog.reading import Quantity, Reading
from meterlog.session.writer import SessionWriter
writer = SessionWriter.create(sys.argv[1])
channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
i = 0
while True:
    writer.append(channel, [Reading(time.monotonic(), float(i + k), Quantity.DC_VOLTAGE, 1.0) for k in range(10)])
    i += 10
    print(i, time.monotonic(), flush=True)
    time.sleep(0.002)
"""

_missed = 0


def report(name: str, figure: float, unit: str, goal: float, *, ratio: str = "") -> None:
    """Print one line: what, the figure, its ratio, the goal, the verdict (at most the goal is met)."""
    global _missed
    met = figure <= goal
    _missed += not met
    verdict = "met" if met else f"MISSED by {figure / goal:.2f} times"
    print(f"{name:52} {figure:10.4g} {unit:10} goal {goal:<8.4g} {ratio:34} {verdict}")


def best(run: Callable[[], object], times: int = 5) -> float:
    """The shortest of some runs, s."""
    spans = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        spans.append(time.perf_counter() - start)
    return min(spans)


def display_series(count: int, seed: int = 1) -> Series:
    """Four digits at 10 a second with realistic arrival jitter: 0.3 ms median, late ones seldom."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(count) * 0.1 + np.abs(rng.normal(0, 0.0004, count)) + (rng.random(count) < 0.01) * 0.002
    value = np.round(12.6 + 0.03 * rng.standard_normal(count) + 0.5 * np.sin(np.arange(count) / 5000), 2)
    flags = np.full(count, int(Flag.DC | Flag.AUTORANGE), np.uint16)
    return Series(np.maximum.accumulate(time_s), value, np.full(count, 0.01, np.float32), flags)


def write_and_read(folder: Path, readings: int) -> None:
    """Bulk writing, size, loading, windows, overview, opening."""
    series = display_series(readings)
    path = folder / "bulk.sqlite"
    start = time.perf_counter()
    with SessionWriter.create(path) as writer:
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), series)
    print(f"{'bulk writing':52} {readings / (time.perf_counter() - start) / 1e6:10.4g} M/s")
    report("bytes a reading, sealed", path.stat().st_size / readings, "bytes", 6.0)

    plain = folder / "plain.npy"
    np.save(plain, np.stack([series.time_s, series.value]))
    plain_s, sum_s = best(lambda: np.load(plain)), best(lambda: series.value.sum())
    with open_reader(path) as reader:
        # In turns, so that a busy machine slows both alike.
        ways = (lambda: _raw_chunks(path), lambda: reader.series(1), lambda: meterlog.open_session(path).frame())
        chunks_s, load_s, frame_s = (
            min(spans) for spans in zip(*([best(w, 1) for w in ways] for _ in range(6)), strict=True)
        )
        ratio = f"{load_s / chunks_s:.1f} x inflating the same chunks, {load_s / plain_s:.1f} x np.load"
        report("all readings to arrays, over the chunk figure", load_s / chunks_s, "times", 4.0, ratio=ratio)
        print(f"{'  the same':52} {load_s:10.4g} s          ({load_s / sum_s:.0f} x numpy.sum)")
        end_s = float(series.time_s[-1])
        window_s = best(lambda: reader.series(1, end_s * 0.5, end_s * 0.51))
        report("a 1 % window", window_s * 1e3, "ms", 10.0, ratio=f"{window_s / sum_s:.1f} x numpy.sum of all")
        for buckets in (1000, 2000):
            view_s = best(lambda n=buckets: reader.overview(1, 0.0, end_s, n))  # type: ignore[misc]
            report(f"overview in {buckets} buckets", view_s, "s", 1.0, ratio=f"{view_s / load_s:.2f} x loading all")
    report(
        "all readings to a DataFrame, over the chunk figure", frame_s / chunks_s, "times", 4.0, ratio=f"{frame_s:.3f} s"
    )
    _open_a_day(folder)


def _raw_chunks(path: Path) -> int:
    """The plain alternative: fetch the chunks and inflate them, nothing more."""
    import zlib

    connection = sqlite3.connect(path)
    size = 0
    for row in connection.execute("SELECT times, numbers, resolutions, flag_bits FROM chunk"):
        size += sum(len(zlib.decompress(column[4:])) for column in row)
    connection.close()
    return size


def _open_a_day(folder: Path) -> None:
    path = folder / "day.sqlite"
    with SessionWriter.create(path) as writer:
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), display_series(864_000))

    def look() -> None:
        with open_reader(path) as reader:
            assert reader.count(reader.channels[0].number) == 864_000
            assert reader.markers == []
            assert reader.duration_s > 86_000

    report("24 h at 10/s opens", best(look) * 1e3, "ms", 100.0)


def sustained(folder: Path, seconds: float = 10.0) -> None:
    """20,000 readings/s from 10 channels while a reader follows."""
    path = folder / "sustained.sqlite"
    rate = 2000
    lags: list[float] = []
    done = threading.Event()
    with SessionWriter.create(path) as writer:
        channels = [writer.add_channel(f"meter {i}", Quantity.DC_VOLTAGE) for i in range(10)]
        writer.flush()

        def follow() -> None:
            with open_reader(path) as reader:
                cursor = 0
                while not done.is_set():
                    part, cursor = reader.follow(1, cursor)
                    if len(part):
                        lags.append(time.monotonic() - writer.monotonic_start_s - float(part.time_s[-1]))
                    time.sleep(0.05)

        thread = threading.Thread(target=follow)
        thread.start()
        start_s = time.monotonic()
        given = 0
        while (elapsed := time.monotonic() - start_s) < seconds:
            due = int(elapsed * rate)
            if due > given:
                now_s = time.monotonic()
                for channel in channels:
                    numbers = range(given, due)
                    writer.append(channel, [Reading(now_s, float(n), Quantity.DC_VOLTAGE, 0.01) for n in numbers])
                given = due
            time.sleep(0.005)
        done.set()
        thread.join()
    with open_reader(path) as reader:
        lost = sum(reader.series(c).value.tolist() != list(map(float, range(given))) for c in channels)
    report(f"channels that lost any of {given * 10} readings, 20,000/s", lost, "channels", 0)
    report("a follower lags behind, median", float(np.median(lags)), "s", 0.5)


def kills(folder: Path, count: int) -> None:
    """Recorders killed with SIGKILL: what is lost, at the most."""
    rng = random.Random(1)
    most_s, broken = 0.0, 0
    for i in range(count):
        path = folder / f"killed{i}.sqlite"
        process = subprocess.Popen([sys.executable, "-c", RECORDER, str(path)], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(rng.uniform(0.3, 1.0))
        killed_s = time.monotonic()
        process.send_signal(signal.SIGKILL)
        lines = [line.split() for line in process.stdout.read().splitlines()]
        process.wait()
        with open_reader(path) as reader:
            values = reader.series(1).value.tolist() if reader.channels else []
            broken += reader.ended != "hard" or values != list(map(float, range(len(values))))
        missing = [float(time_s) for given, time_s in lines if int(given) > len(values)]
        most_s = max(most_s, killed_s - missing[0] if missing else 0.0)
        os.remove(path)
    report(f"the most that {count} kills lost", most_s, "s", 0.5)
    report("sessions not contiguous or not said to have crashed", broken, "sessions", 0)


def main() -> int:
    """Run all; the exit status says whether every goal was met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--kills", type=int, default=100)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_and_read(folder, args.readings)
        sustained(folder)
        kills(folder, args.kills)
    return int(_missed > 0)


if __name__ == "__main__":
    sys.exit(main())
