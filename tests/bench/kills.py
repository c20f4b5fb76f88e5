"""Recorders killed under load: `python -m tests.bench.kills [KILLS]` measures what each loses.

Two processes that never rest and one that writes 4 MB and has it forced to the disk, over and over, beside a recorder
of ten channels at 10 readings a second each, which SIGKILL ends at a seeded moment. What is lost is the time from the
last reading in the file to the kill. What `flush` acknowledged before must be there.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.synchronize import Event
from pathlib import Path
from typing import NamedTuple

import numpy as np

from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, open_reader
from tests.bench.results import write

GOAL_S = 0.5
CHANNELS, INTERVAL_S, FLUSH_S = 10, 0.1, 1.0
SHORTEST_S, LONGEST_S = 0.8, 6.0
"""Life of a recorder before it is killed."""


class Kill(NamedTuple):
    """One killed recorder: the time lost (s), the readings acknowledged, those of them that were gone."""

    lost_s: float
    acknowledged: int
    gone: int


def _busy() -> None:
    while True:
        sum(range(100_000))


def _forcing(folder: str) -> None:
    block = os.urandom(4 << 20)
    with open(Path(folder) / "load", "wb", buffering=0) as file:
        while True:
            file.seek(0)
            file.write(block)
            os.fsync(file.fileno())


@contextmanager
def load(folder: Path) -> Iterator[None]:
    """Inside, the processors and the disk are busy."""
    work = [multiprocessing.Process(target=_busy, daemon=True) for _ in range(2)]
    work.append(multiprocessing.Process(target=_forcing, args=(str(folder),), daemon=True))
    for process in work:
        process.start()
    try:
        yield
    finally:
        for process in work:
            process.kill()
            process.join()


def _record(path: Path, flushing: bool, begun: Event) -> None:
    acknowledged = os.open(f"{path}.kept", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    with SessionWriter.create(path) as writer:
        channels = [writer.add_channel(f"c{i}", Quantity.DC_VOLTAGE) for i in range(CHANNELS)]
        writer.flush()
        begun.set()
        for number in range(10_000):
            for channel in channels:
                writer.append(channel, [Reading(time.monotonic(), float(number), Quantity.DC_VOLTAGE, 0.01)])
            if flushing and number and not number % round(FLUSH_S / INTERVAL_S):
                writer.flush()
                os.write(acknowledged, b"%d\n" % (number + 1))
            time.sleep(INTERVAL_S)


def killed(folder: Path, lives_s: float, flushing: bool) -> Kill:
    """Kill one recorder after `lives_s`; what it lost."""
    path, begun = folder / "a.sqlite", multiprocessing.Event()
    process = multiprocessing.Process(target=_record, args=(path, flushing, begun))
    process.start()
    assert begun.wait(120)
    time.sleep(lives_s)
    assert process.pid is not None
    os.kill(process.pid, signal.SIGKILL)
    killed_s = time.monotonic()
    process.join()
    told = Path(f"{path}.kept").read_text().split()
    acknowledged = int(told[-1]) if told else 0
    with open_reader(path) as reader:
        series = [reader.series(channel.number) for channel in reader.channels]
        newest_s = max((float(one.time_s[-1]) for one in series if len(one)), default=0.0) + reader.monotonic_start_s
        gone = sum(max(0, acknowledged - len(one)) for one in series)
    return Kill(killed_s - newest_s, acknowledged, gone)


def measured(kills: int, seed: int = 1) -> list[Kill]:
    """Kill so many recorders under load, every other one with a flush a second."""
    rng, found = random.Random(seed), []
    with tempfile.TemporaryDirectory(dir=os.environ.get("BENCH_FOLDER")) as base, load(Path(base)):
        for number in range(kills):
            folder = Path(base) / str(number)
            folder.mkdir()
            found.append(killed(folder, rng.uniform(SHORTEST_S, LONGEST_S), flushing=bool(number % 2)))
    return found


def in_words(found: list[Kill]) -> list[str]:
    """The distribution, as lines of a table."""
    lost_s = np.array([kill.lost_s for kill in found])
    middle, most, worst = np.quantile(lost_s, 0.5), np.quantile(lost_s, 0.95), lost_s.max()
    return [
        "| kills | lost: median | 95 % | most | beyond 0.5 s | acknowledged readings | of them lost |",
        "|---|---|---|---|---|---|---|",
        (
            f"| {len(found)} | {middle:.2f} s | {most:.2f} s | {worst:.2f} s | {int(np.sum(lost_s > GOAL_S))} |"
            f" {sum(CHANNELS * kill.acknowledged for kill in found)} | {sum(kill.gone for kill in found)} |"
        ),
    ]


def main() -> int:
    """Measure; 1 where an acknowledged reading was lost."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("kills", nargs="?", type=int, default=100)
    found = measured(parser.parse_args().kills)
    lines = [__doc__.split("\n\n")[1].replace("\n", " ").strip(), "", *in_words(found)]
    if beyond := [f"{kill.lost_s:.2f} s" for kill in found if kill.lost_s > GOAL_S]:
        lines += ["", f"Beyond 0.5 s: {', '.join(beyond)}."]
    print("\n".join(lines))
    write("Recorders killed under load", lines)
    return int(any(kill.gone for kill in found))


if __name__ == "__main__":
    sys.exit(main())
