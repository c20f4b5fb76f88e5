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
from collections.abc import Iterator
from pathlib import Path

import numpy as np

import meterlog
from meterlog.reading import Flag, Quantity, Reading
from meterlog.series import Series
from meterlog.session import SessionWriter, open_reader
from tests.bench.table import Row, at_least, at_most, best_s, in_turns, show

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


def display_series(count: int, seed: int = 1) -> Series:
    """Four digits at 10 a second with realistic arrival jitter: 0.3 ms median, late ones seldom."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(count) * 0.1 + np.abs(rng.normal(0, 0.0004, count)) + (rng.random(count) < 0.01) * 0.002
    value = np.round(12.6 + 0.03 * rng.standard_normal(count) + 0.5 * np.sin(np.arange(count) / 5000), 2)
    flags = np.full(count, int(Flag.DC | Flag.AUTORANGE), np.uint16)
    return Series(np.maximum.accumulate(time_s), value, np.full(count, 0.01, np.float32), flags)


def write_and_read(folder: Path, readings: int) -> Iterator[Row]:
    """Size, loading, windows, overview."""
    series = display_series(readings)
    path = folder / "bulk.sqlite"
    with SessionWriter.create(path) as writer:
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), series)
    size = path.stat().st_size / readings
    rows_size = _size_of_rows(folder, series[:100_000])
    yield at_most("bytes a reading, sealed", size, 6.0, "bytes", f"{size / rows_size:.2f} x a row a reading")

    sum_s = best_s(lambda: series.value.sum())
    with open_reader(path) as reader:
        chunks_s, load_s, frame_s = in_turns(
            lambda: _raw_chunks(path), lambda: reader.series(1), lambda: meterlog.open_session(path).frame(), times=6
        )
        for what, took_s in (("to arrays", load_s), ("to a DataFrame", frame_s)):
            ratio = f"{took_s:.2f} s, {took_s / sum_s:.0f} x numpy.sum"
            what = f"{readings / 1e6:g} M readings {what}"
            yield at_most(what, took_s / chunks_s, 4.0, "x inflating the same chunks", ratio)
        end_s = float(series.time_s[-1])
        window_s = best_s(lambda: reader.series(1, end_s * 0.5, end_s * 0.51))
        ratio = f"{window_s / sum_s:.1f} x numpy.sum of all"
        yield at_most("a 1 % window of them", window_s * 1e3, 10.0, "ms", ratio)
        view_s = best_s(lambda: reader.overview(1, 0.0, end_s, 2000))
        ratio = f"{view_s / load_s:.2f} x loading all"
        yield at_most("their overview in 2000 buckets", view_s, 1.0, "s", ratio)


def _size_of_rows(folder: Path, series: Series) -> float:
    """The plain alternative: bytes a reading in a table with a row a reading."""
    path = folder / "rows.sqlite"
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE reading (channel INTEGER, time REAL, value REAL, resolution REAL, flags INTEGER)")
    columns = (series.time_s, series.value, series.resolution, series.flags)
    listed = zip(*(column.tolist() for column in columns), strict=True)
    connection.executemany("INSERT INTO reading VALUES (1, ?, ?, ?, ?)", listed)
    connection.commit()
    connection.close()
    return path.stat().st_size / len(series)


def _raw_chunks(path: Path) -> int:
    """The plain alternative: fetch the chunks and inflate them, nothing more."""
    import zlib

    connection = sqlite3.connect(path)
    size = 0
    for row in connection.execute("SELECT times, numbers, resolutions, flag_bits FROM chunk"):
        size += sum(len(zlib.decompress(column[4:])) for column in row)
    connection.close()
    return size


def open_a_day(folder: Path) -> Iterator[Row]:
    """A day at ten readings a second: how soon it is open."""
    path = folder / "day.sqlite"
    with SessionWriter.create(path) as writer:
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), display_series(864_000))

    def look() -> None:
        with open_reader(path) as reader:
            assert reader.count(reader.channels[0].number) == 864_000
            assert reader.markers == []
            assert reader.duration_s > 86_000

    def plain() -> None:
        connection = sqlite3.connect(path)
        connection.execute("SELECT count(*) FROM channel").fetchone()
        connection.close()

    look_s, plain_s = in_turns(look, plain)
    ratio = f"{look_s / plain_s:.1f} x opening it with sqlite3"
    yield at_most("24 h at 10/s opens", look_s * 1e3, 100.0, "ms", ratio)


def sustained(folder: Path, seconds: float = 10.0) -> Iterator[Row]:
    """20,000 readings/s from 10 channels while a reader follows."""
    path = folder / "sustained.sqlite"
    rate = 2001  # of each channel
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
        given, last_s = 0, 0.0
        while (elapsed := time.monotonic() - start_s) < seconds:
            due = int(elapsed * rate)
            if due > given:
                now_s = time.monotonic()
                for channel in channels:
                    numbers = range(given, due)
                    writer.append(channel, [Reading(now_s, float(n), Quantity.DC_VOLTAGE, 0.01) for n in numbers])
                given, last_s = due, elapsed
            time.sleep(0.005)
        done.set()
        thread.join()
    with open_reader(path) as reader:
        lost = sum(reader.series(c).value.tolist() != list(map(float, range(given))) for c in channels)
    yield at_least("readings a second from 10 channels, kept", given * 10 / last_s, 20_000, "/s")
    yield at_most(f"channels that lost any of {given * 10} of them", lost, 0, "lost")
    yield at_most("a follower lags behind them, median", float(np.median(lags)), 0.5, "s")


def kills(folder: Path, count: int) -> Iterator[Row]:
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
    yield at_most(f"the most that {count} kills of the recorder lost", most_s, 0.5, "s")
    yield at_most("sessions not whole up to there, or not said to have crashed", broken, 0, "broken")


def rows(readings: int = 10_000_000, kill: int = 15) -> Iterator[Row]:
    """All of them."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield from write_and_read(folder, readings)
        yield from open_a_day(folder)
        yield from sustained(folder)
        yield from kills(folder, kill)


def main() -> int:
    """Run all; the exit status says whether every goal was met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=10_000_000)
    parser.add_argument("--kills", type=int, default=100)
    args = parser.parse_args()
    return int(show(rows(args.readings, args.kills)) > 0)


if __name__ == "__main__":
    sys.exit(main())
