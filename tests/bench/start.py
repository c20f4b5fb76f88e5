"""Measures the start of each command: `python -m tests.bench.start`.

The plain alternative is a bare `python -c pass` of the same interpreter, in turns with ours, the shortest of many.
"""

from __future__ import annotations

import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path

from tests.bench.record import first_byte_ms
from tests.bench.table import Row, at_most, in_turns, show
from tests.cli.terminal.at_terminal import AtTerminal

MOST_TIMES_BARE, MOST_TO_BYTE_MS, MOST_TO_PAGE_S, MOST_TO_READING_S = 5.0, 400.0, 1.2, 1.0
_STARTS = 15


def _run(*words: str) -> None:
    subprocess.run([sys.executable, *words], check=True, stdout=subprocess.DEVNULL)


def page_s() -> float:
    """From the start of the server to the whole first response, s."""
    with tempfile.TemporaryDirectory() as folder, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        probe.close()
        begun_s = time.perf_counter()
        command = [sys.executable, "-m", "meterlog", "page", "--port", str(port), folder]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as server:
            try:
                assert server.stdout is not None
                server.stdout.readline()  # it says where it listens
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=30) as response:
                    assert b"<html" in response.read()
                return time.perf_counter() - begun_s
            finally:
                server.terminate()


def reading_s(folder: Path, shown: Sequence[str], *words: str) -> float:
    """From the start of a command to its first reading at a terminal, s; `shown` tells one."""
    begun_s = time.perf_counter()
    with AtTerminal(*words, columns=80, folder=folder) as at:
        at.until(*shown)
        return time.perf_counter() - begun_s


def readings_s() -> tuple[float, float]:
    """The same of `record` and of `job measure`, with a meter that shows ten readings a second; the least of three."""
    with tempfile.TemporaryDirectory() as parent:
        folder = Path(parent)
        meter = "sim:van?fault=relay:1.6&at=plug_feed&interval_s=0.1"
        moved = meter.replace("&at=plug_feed", "")  # by the job
        words = ["job", "start", "van", "--complaint", "no start", "--circuit", "pump-feed", "--meter", moved]
        subprocess.run([sys.executable, "-m", "meterlog", *words], check=True, cwd=folder, stdout=subprocess.DEVNULL)
        rest = ("0.00 V", "0.01 V")  # at the plug, key off
        record = min(reading_s(folder, rest, "record", "--meter", meter, "--out", f"{k}.sqlite") for k in range(3))
        return record, min(reading_s(folder, ["V ? keys"], "job", "measure", "van") for _ in range(3))


def rows() -> Iterator[Row]:
    """Help, version, first byte, first readings, first page."""
    bare = partial(_run, "-c", "pass")
    ours = [partial(_run, "-m", "meterlog", word) for word in ("--help", "--version")]
    bare_s, help_s, version_s = in_turns(bare, *ours, times=_STARTS)
    (numpy_s,) = in_turns(partial(_run, "-c", "import numpy"))
    for word, took_s in (("--help", help_s), ("--version", version_s)):
        figures = f"{1000 * took_s:.0f} ms; bare Python {1000 * bare_s:.0f} ms"
        yield at_most(f"`meterlog {word}`", took_s / bare_s, MOST_TIMES_BARE, "times bare Python", figures)
    with tempfile.TemporaryDirectory() as folder:
        byte_ms = first_byte_ms(Path(folder))
    ratio = f"{byte_ms / numpy_s / 1000:.1f} x a Python that imports numpy"
    yield at_most("`record` to the first byte read", byte_ms, MOST_TO_BYTE_MS, "ms", ratio)
    for what, took_s in zip(("record", "job measure"), readings_s(), strict=True):
        ratio = f"{took_s / bare_s:.0f} x bare Python"
        yield at_most(f"`{what}` to the first reading on the screen", took_s, MOST_TO_READING_S, "s", ratio)
    first_s = min(page_s() for _ in range(3))
    (dash_s,) = in_turns(partial(_run, "-c", "import dash"), times=3)
    yield at_most("the page's first response", first_s, MOST_TO_PAGE_S, "s", f"{first_s / dash_s:.1f} x importing dash")


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
