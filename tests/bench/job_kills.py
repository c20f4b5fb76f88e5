"""A job killed while it measures: `python -m tests.bench.job_kills [KILLS]` counts what each kill loses.

`job measure` runs as a process of its own, on a simulated van and on a meter at a pseudo-terminal in turn, and SIGKILL
ends it: every other time at a seeded moment of its life, else within half a second of the moment when it has caught
its reading, since that is when the job is written. After each kill the job must open, every reading that was entered
before must be there as it was, at most the one that was being taken may be new, and every session must be whole.
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from meterlog.cli import main as meterlog
from meterlog.errors import MeterlogError
from meterlog.job.job import Step
from meterlog.job.job_file import read_job
from meterlog.session import open_reader
from tests.bench.results import write

JOB_OF_KILLS = 20
"""A job has so many kills: more readings than 60 are not weighed together."""
LONGEST_LIFE_S, LONGEST_WRITING_S = 5.0, 0.5
"""The latest seeded moment: after the beginning, s, and after the reading was caught, s."""
MEASURE = [sys.executable, "-m", "meterlog", "job", "measure"]


@dataclass
class Killed:
    """Holds what the kills have left.

    Attributes:
        kills: how many.
        entered: readings that were entered, and had to be there after the kills that followed.
        while_recording: kills that left a session without a step.
        lost: readings that were gone.
        broken: sentences about what did not open or was not whole.
    """

    kills: int = 0
    entered: int = 0
    while_recording: int = 0
    lost: int = 0
    broken: list[str] = field(default_factory=list)


@contextmanager
def emulated() -> Iterator[str]:
    """A meter on a pseudo-terminal, at the plug of a pump that is primed again and again; its address."""
    command = [sys.executable, "-m", "meterlog", "emulate", "healthy-prime", "--speed", "4"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        try:
            yield f"status14:{process.stdout.readline().strip()}"
        finally:
            process.kill()


def kill_once(folder: Path, address: str, rng: random.Random, *, writing: bool) -> None:
    """Begin a measurement and kill it, at a moment of its life or while it writes."""
    command = [*MEASURE, str(folder), "--at", "plug_feed", "--meter", address]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True) as process:
        assert process.stdout is not None
        if writing:
            for line in process.stdout:
                if line.startswith("Caught"):
                    break
            time.sleep(rng.uniform(0.0, LONGEST_WRITING_S))
        else:
            time.sleep(rng.uniform(0.0, LONGEST_LIFE_S))
        process.send_signal(signal.SIGKILL)


def check(folder: Path, before: tuple[Step, ...], found: Killed) -> tuple[Step, ...]:
    """Hold a job after a kill against what it had before; its steps now."""
    found.kills += 1
    try:
        job = read_job(folder)
    except MeterlogError as error:
        found.broken.append(str(error))
        return before
    found.lost += sum(old not in job.steps for old in before)
    if job.steps[: len(before)] != before or len(job.steps) > len(before) + 1 or job.missing_sessions:
        found.broken.append(f"kill {found.kills}: {len(before)} steps became {len(job.steps)}")
    found.entered += len(job.steps) - len(before)
    for path in folder.glob("*.sqlite"):
        try:
            with open_reader(path) as reader:
                for channel in reader.channels:
                    reader.series(channel.number)
        except MeterlogError as error:
            found.broken.append(f"{path.name}: {error}")
    found.while_recording += len(list(folder.glob("*.sqlite"))) > len(job.sessions)
    return job.steps


def measured(kills: int, base: Path, addresses: list[str], seed: int = 1) -> Killed:
    """Kill so many measurements; what they have left."""
    rng, found = random.Random(seed), Killed()
    steps: tuple[Step, ...] = ()
    for number in range(kills):
        folder = base / f"job-{number // JOB_OF_KILLS}"
        if number % JOB_OF_KILLS == 0:
            meterlog(["job", "start", str(folder), "--complaint", "cranks, does not start", "--circuit", "pump-feed"])
            steps = ()
        kill_once(folder, addresses[number // 2 % len(addresses)], rng, writing=bool(number % 2))
        steps = check(folder, steps, found)
    return found


def main() -> int:
    """Measure; 1 where something was lost or broken."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("kills", nargs="?", type=int, default=100)
    kills = parser.parse_args().kills
    with tempfile.TemporaryDirectory() as base, emulated() as port:
        found = measured(kills, Path(base), ["sim:van?fault=relay:1.6&speed=4", port])
    lines = [
        __doc__.split("\n\n")[1].replace("\n", " ").strip(),
        "",
        "| kills | readings entered | of them lost | kills that left a recording without a reading | broken |",
        "|---|---|---|---|---|",
        f"| {found.kills} | {found.entered} | {found.lost} | {found.while_recording} | {len(found.broken)} |",
        *found.broken,
    ]
    print("\n".join(lines))
    write("A job killed while it measures", lines)
    return int(bool(found.lost or found.broken))


if __name__ == "__main__":
    sys.exit(main())
