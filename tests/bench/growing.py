"""Two programs follow a recording in a third for a real hour: `python -m tests.bench.growing [SECONDS]`.

One is the live page's follower, which opens the file for each look; the other holds one reader open all the time and
now and then fetches everything, as a notebook does. Asserted: the recorder's log stays bounded, its memory and handles
stay flat, each program gets every reading in order, and one plain file is left. Uses a few per cent of a core.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import tempfile
import time
from multiprocessing.connection import Connection
from pathlib import Path
from typing import NamedTuple

import numpy as np
import psutil

from meterlog.session import open_reader
from meterlog.session.commits import WAL_LIMIT_BYTES
from meterlog_dashboard.live.feed import LiveFeed

METERS, INTERVAL_S = 4, 0.1


class Hour(NamedTuple):
    """The result of an hour with two readers.

    Attributes:
        readings: in the finished file.
        looks: of both programs at the growing file.
        log_bytes: the write-ahead log at its largest.
        log_mean_bytes: at its mean.
        start_mb: memory of the recorder after a tenth of the time.
        end_mb: at the end.
        start_handles: files that the recorder held open after a tenth.
        end_handles: at the end.
        worst_look_s: the longest look of the page.
    """

    readings: int
    looks: int
    log_bytes: int
    log_mean_bytes: int
    start_mb: float
    end_mb: float
    start_handles: int
    end_handles: int
    worst_look_s: float


def page(path: Path, out: Connection) -> None:
    """Follow as the live page does, four times a second; sends looks, last sequence numbers seen, longest look."""
    follower, epoch, after, looks, worst_s, points = LiveFeed(path), "", 0, 0, 0.0, 0
    state = "growing"
    while state == "growing":
        began_s = time.perf_counter()
        answer = follower.since(epoch, after)
        worst_s = max(worst_s, time.perf_counter() - began_s)
        epoch, after, state = answer["epoch"], answer["sequence"], answer["state"]
        points += sum(sum(v is not None for v in columns[1]) for columns in answer["points"].values())
        looks += 1
        time.sleep(0.25)
    out.send((looks, points, worst_s))


def notebook(path: Path, out: Connection) -> None:
    """Hold one reader; follow every second, and each minute fetch all of it; sends looks and what it has."""
    looks, cursors, sums, counts = 0, dict.fromkeys(range(1, METERS + 1), 0), 0.0, 0
    with open_reader(path) as reader:
        ended = False
        while not ended:
            ended = reader.ended != "growing"
            for channel in reader.channels:
                found, cursors[channel.number] = reader.follow(channel.number, cursors[channel.number])
                assert not found.time_s.size or bool((np.diff(found.time_s) >= 0).all())
                counts += len(found)
                sums += float(np.where(np.isfinite(found.value), found.value, 0.0).sum())
                if looks % 60 == 59:
                    assert len(reader.series(channel.number)) >= cursors[channel.number]
                    reader.overview(channel.number, 0.0, max(reader.duration_s, 1.0), 500)
            looks += 1
            time.sleep(1.0)
    out.send((looks, counts, sums))


def followed(path: Path, seconds: float) -> Hour:
    """Record for so long with two programs on the file.

    Raises:
        AssertionError: something grew, or a reading did not come to a program.
    """
    words = [
        f"--meter=sim:intermittent-feed?loop=yes&interval_s={INTERVAL_S}&label=m{i}&seed={i}" for i in range(METERS)
    ]
    main = [sys.executable, "-c", "from meterlog.cli import main; raise SystemExit(main())"]
    recorder = subprocess.Popen([*main, "record", "--plain", "--quiet", *words, "--out", str(path)])
    context = multiprocessing.get_context("spawn")
    readers = []
    log = Path(f"{path}-wal")
    sizes: list[int] = []
    start = end = (0.0, 0)
    try:
        give_up_s = time.monotonic() + 60
        while not _has_readings(path):
            assert time.monotonic() < give_up_s, "the recording never began"
            time.sleep(0.2)
        for work in (page, notebook):
            here, there = context.Pipe(duplex=False)
            readers.append((context.Process(target=work, args=(path, there)), here))
            readers[-1][0].start()
        seen, began_s = psutil.Process(recorder.pid), time.monotonic()
        while time.monotonic() < began_s + seconds:
            time.sleep(0.1)
            assert recorder.poll() is None, "the recorder ended"
            if log.exists():
                sizes.append(os.path.getsize(log))
            end = seen.memory_info().rss / 1e6, seen.num_fds()
            if time.monotonic() < began_s + seconds / 10:
                start = end
        recorder.send_signal(signal.SIGINT)
        assert recorder.wait(60) == 0
        assert all(pipe.poll(60) for _, pipe in readers), "a program did not come to the end"
        answers = [pipe.recv() for _, pipe in readers]
    finally:
        for process, _ in readers:
            process.join(5)
            process.kill()
        recorder.kill()
        recorder.wait()
    (page_looks, page_points, worst_s), (notebook_looks, notebook_readings, total) = answers
    with open_reader(path) as reader:
        ended, series = reader.ended, [reader.series(channel.number).value for channel in reader.channels]
    readings = sum(map(len, series))
    hour = Hour(
        readings, page_looks + notebook_looks, max(sizes), int(np.mean(sizes)), *start[:1], *end[:1], start[1], end[1],
        worst_s,
    )  # fmt: skip
    assert ended == "clean", ended
    assert [file.name for file in path.parent.iterdir()] == [path.name]
    assert readings > 0.95 * METERS * seconds / INTERVAL_S, hour
    assert notebook_readings == readings, (notebook_readings, hour)
    assert np.isclose(total, sum(float(np.where(np.isfinite(v), v, 0.0).sum()) for v in series)), hour
    assert page_points == sum(int(np.isfinite(v).sum()) for v in series), (page_points, hour)
    assert hour.log_bytes < 1.5 * WAL_LIMIT_BYTES, hour
    assert hour.end_mb - hour.start_mb < 25, hour
    assert hour.end_handles <= hour.start_handles + 1, hour
    return hour


def _has_readings(path: Path) -> bool:
    if not path.exists() or not path.stat().st_size:
        return False
    with open_reader(path) as reader:
        return len(reader.channels) == METERS


def main() -> None:
    """Do it for the seconds named, an hour if none are."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 3600.0
    with tempfile.TemporaryDirectory() as folder:
        print(f"{seconds:.0f} s: {followed(Path(folder) / 'a.sqlite', seconds)}")


if __name__ == "__main__":
    main()
