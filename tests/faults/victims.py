"""A program whose children do one piece of work each and are killed in the middle of it; run by `killing`.

It imports everything once and forks, so that a child costs milliseconds. On its standard input: a line of JSON,
`[work, folder, delay_s]`; without a delay the work is done to its end. Answer: how long the child lived, s.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import meterlog.analysis
import meterlog.comparing
import meterlog.exchange.parquet
import meterlog.report  # noqa: F401 imported before forking, so that what is killed is the work
from meterlog.cli.main import main
from meterlog.reading import Quantity, Reading
from meterlog.session import SessionWriter, add_marker

MARKERS = 40
"""Number of markers that `mark` sets."""


def record(folder: Path, batch: int = 40, batches_a_flush: int = 20) -> None:
    """Record counting numbers; what was given, and what a flush has called kept, goes into `log` at once."""
    log = os.open(folder / "log", os.O_CREAT | os.O_WRONLY | os.O_APPEND)
    with SessionWriter.create(folder / "a.sqlite") as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
        i, stop_s = 0, time.monotonic() + 0.6
        while time.monotonic() < stop_s:
            now_s = time.monotonic()
            writer.append(channel, [Reading(now_s, float(i + k), Quantity.DC_VOLTAGE, 1.0) for k in range(batch)])
            i += batch
            os.write(log, b"given %d %.6f\n" % (i, time.monotonic()))
            if i % (batches_a_flush * batch) == 0:
                writer.flush()
                os.write(log, b"kept %d\n" % i)
            time.sleep(0.001)


def seal(folder: Path) -> None:
    """Record so much at once that nearly all the time goes into sealing."""
    record(folder, batch=4096, batches_a_flush=1)


def create(folder: Path) -> None:
    """Begin a recording and end it, over and over."""
    for i in range(20):
        with SessionWriter.create(folder / f"{i}.sqlite") as writer:
            channel = writer.add_channel("feed", Quantity.DC_VOLTAGE)
            writer.append(channel, [Reading(writer.monotonic_start_s, 0.0, Quantity.DC_VOLTAGE)])


def mark(folder: Path) -> None:
    """Set markers in a finished session, one after the other."""
    for i in range(MARKERS):
        add_marker(folder / "a.sqlite", f"marker {i}", time_s=1.0)


def export_csv(folder: Path) -> None:
    """Export to CSV."""
    main(["export", str(folder / "a.sqlite"), "--out", str(folder / "out.csv")])


def export_parquet(folder: Path) -> None:
    """Export to Parquet."""
    main(["export", str(folder / "a.sqlite"), "--out", str(folder / "out.parquet")])


def import_csv(folder: Path) -> None:
    """Import what was exported."""
    main(["import", str(folder / "in.csv"), "--out", str(folder / "out.sqlite")])


def report(folder: Path) -> None:
    """Write a report."""
    main(["report", str(folder / "a.sqlite"), "--out", str(folder / "out.html")])


WORKS: dict[str, Callable[[Path], None]] = {
    work.__name__: work for work in (record, seal, create, mark, export_csv, export_parquet, import_csv, report)
}


def serve() -> None:
    """Fork, kill and answer until the input ends."""
    for line in sys.stdin:
        work, folder, delay_s = json.loads(line)
        began_s = time.monotonic()
        child = os.fork()
        if child == 0:
            with open(Path(folder) / "said", "ab", buffering=0) as said:
                os.dup2(said.fileno(), 1)
                os.dup2(said.fileno(), 2)
            status = 1
            try:
                WORKS[work](Path(folder))
                status = 0
            finally:
                os._exit(status)
        if delay_s is not None:
            time.sleep(max(0.0, began_s + delay_s - time.monotonic()))
            os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        print(time.monotonic() - began_s, flush=True)


if __name__ == "__main__":
    serve()
