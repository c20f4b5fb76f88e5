"""Hostile sessions through every command that reads or marks one: `python -m tests.bench.hostile`.

Each must be one sentence and exit 2, or a result; at most 2 s and 300 MB; and nothing outside the file's own name may
be touched: a folder of canaries lies beside, reached by links, journals and attached names.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import meterlog.analysis
import meterlog.circuit
import meterlog.comparing
import meterlog.exchange.csv_export
import meterlog.exchange.parquet
import meterlog.report  # noqa: F401 imported before forking
from meterlog.cli.main import main as main_of_meterlog
from tests.bench.results import write
from tests.bench.table import Row, at_least, at_most, markdown, show
from tests.faults.conftest import make_session
from tests.faults.hostile import HOSTILE

MOST_S, MOST_MB = 2.0, 300.0

HANGS_S = 30


class Outcome(NamedTuple):
    """One command on one file."""

    file: str
    command: str
    status: int
    sentence: str
    took_s: float
    peak_mb: float
    touched: bool


def commands(path: Path, good: Path) -> dict[str, list[str]]:
    """Every command that takes a session."""
    session, folder = str(path), path.parent
    return {
        "sessions": ["sessions", str(folder)],
        "analyze": ["analyze", session],
        "analyze --json": ["analyze", session, "--json"],
        "export": ["export", session, "--out", str(folder.parent / "o.csv"), "--replace"],
        "export to Parquet": ["export", session, "--out", str(folder.parent / "o.parquet"), "--replace"],
        "report": ["report", session, "--out", str(folder.parent / "o.html")],
        "compare": ["compare", "--good", str(good), session],
        "diagnose": ["diagnose", "--circuit", "pump-feed", session, "--json"],
        "details": ["details", session, "--set", "vehicle=bus"],
        "mark": ["mark", session, "x", "--at", "5"],
    }


def hashes(folder: Path) -> dict[str, str]:
    """Every file under a folder by its content."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.is_symlink()
    }


def attack(name: str, make: Callable[[Path, Path], None], small: Path, base: Path) -> Iterator[Outcome]:
    """Every command on a fresh copy of one hostile file."""
    for command in commands(base / "x", small):
        room, canaries = base / "room" / "sessions", base / "canaries"
        shutil.rmtree(base / "room", ignore_errors=True)
        shutil.rmtree(canaries, ignore_errors=True)
        room.mkdir(parents=True)
        canaries.mkdir()
        for i in range(3):
            (canaries / f"notes-{i}.txt").write_text(f"precious {i}\n" * 100)
        path = Path(shutil.copy(small, room / "x.sqlite"))
        make(path, canaries / "notes-0.txt")
        before = hashes(canaries)
        words = commands(path, small)[command]
        done = _run(words)
        yield Outcome(name, command, *done, hashes(canaries) != before)


def _run(words: list[str]) -> tuple[int, str, float, float]:
    """The command in a fork that has all imported: what is measured is what the file costs, not the start."""
    with tempfile.TemporaryDirectory() as name:
        out, err, figures = (Path(name) / kind for kind in ("out", "err", "figures"))
        child = os.fork()
        if not child:
            _live(words, out, err, figures)
        os.waitpid(child, 0)
        said, listed = (path.read_text(errors="replace") if path.exists() else "" for path in (err, out))
        if not figures.exists():
            return -1, f"hangs or dies: {said[-300:]}", float(HANGS_S), 0.0
        status, took_s, peak_mb = figures.read_text().split()
    damaged = "\n".join(line for line in listed.splitlines() if "cannot be read" in line)
    return int(status), said.rstrip("\n") or damaged, float(took_s), float(peak_mb)


def _live(words: list[str], out: Path, err: Path, figures: Path) -> None:
    """Do the command in this process, which ends with it."""
    signal.alarm(HANGS_S)
    for path, handle in ((out, 1), (err, 2)):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT), handle)
    sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w")
    began_s = time.perf_counter()
    try:
        status = main_of_meterlog(words)
    except BaseException:
        traceback.print_exc()
        status = 1
    took_s = time.perf_counter() - began_s
    sys.stdout.flush()
    sys.stderr.flush()
    figures.write_text(f"{status} {took_s} {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}")
    os._exit(0)


def is_proper(outcome: Outcome) -> bool:
    """One sentence and exit 2, or a result with what is to be said beside it."""
    if outcome.status == 2:
        lines = outcome.sentence.splitlines()
        several = outcome.command == "diagnose"  # it says what it leaves out, a line each
        return outcome.sentence.startswith("meterlog: ") and (several or len(lines) == 1)
    return outcome.status == 0 and "Traceback" not in outcome.sentence and "Warning" not in outcome.sentence


def rows(only: str = "") -> Iterator[Row]:
    """The goals, over every file and command."""
    found: list[Outcome] = []
    with tempfile.TemporaryDirectory() as name:
        base = Path(name)
        small = make_session(base / "small.sqlite", 5000)
        for title, make in HOSTILE.items():
            if only in title:
                for outcome in attack(title, make, small, base):
                    found.append(outcome)
                    bad = outcome.touched or outcome.took_s > MOST_S or outcome.peak_mb > MOST_MB
                    if bad or not is_proper(outcome):
                        print(outcome, file=sys.stderr, flush=True)
    refused = sum(outcome.status == 2 for outcome in found)
    yield at_least("hostile files", len({o.file for o in found}), 60, "files", f"{len(found)} runs, {refused} refused")
    yield at_most("runs that were no sentence and no result", sum(not is_proper(o) for o in found), 0, "runs")
    yield at_most("runs that touched something outside", sum(o.touched for o in found), 0, "runs")
    slow = max(found, key=lambda o: o.took_s)
    yield at_most("the slowest run", slow.took_s, MOST_S, "s", f"{slow.command}: {slow.file}")
    large = max(found, key=lambda o: o.peak_mb)
    yield at_most("the largest run", large.peak_mb, MOST_MB, "MB", f"{large.command}: {large.file}")


def main() -> int:
    """Run it; the exit status says whether every goal was met."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", metavar="TEXT", default="", help="only the files with this in their title")
    args = parser.parse_args()
    found = list(rows(args.only))
    if not args.only:
        write("hostile", markdown(found))
    return int(show(found) > 0)


if __name__ == "__main__":
    sys.exit(main())
