"""Holds what the fault tests share: a program to kill, sessions to break, and the commands that read them."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from meterlog.cli.main import main
from meterlog.reading import Flag, Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter


class Killing:
    """The program of `victims`."""

    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, str(Path(__file__).with_name("victims.py"))],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, work: str, folder: Path, delay_s: float | None = None) -> float:
        """Do the work; kill it after the delay. How long it lived, s."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(json.dumps([work, str(folder), delay_s]) + "\n")
        self._process.stdin.flush()
        return float(self._process.stdout.readline())

    def close(self) -> None:
        """End the program."""
        self._process.communicate()


class Said(NamedTuple):
    """Holds what a command answered: its exit status, its output, and what it told the person."""

    status: int
    out: str
    err: str


def command(*words: object) -> Said:
    """Run a command of meterlog as the terminal would; here, so that the bench can do it too."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        status = main([str(word) for word in words])
    assert "Traceback" not in err.getvalue()
    return Said(status, out.getvalue(), err.getvalue())


@pytest.fixture(scope="session")
def killing() -> Iterator[Killing]:
    """A program whose work is killed at a moment of the test's choosing."""
    if sys.platform == "win32":
        pytest.skip("needs fork")
    program = Killing()
    yield program
    program.close()


def make_session(path: Path, readings: int = 20_000, seed: int = 1) -> Path:
    """A finished session: a supply that goes on and off, with markers, a detail and a link change."""
    rng = np.random.default_rng(seed)
    time_s = np.cumsum(rng.integers(90_000, 110_000, readings)) / 1e6
    value = np.round(np.where((time_s % 60) < 30, 12.4, 0.02) + 0.02 * rng.standard_normal(readings), 2)
    series = Series(time_s, value, np.full(readings, 0.01, np.float32), np.full(readings, int(Flag.DC), np.uint16))
    with SessionWriter.create(path, details={"vehicle": "van", "system_v": "12"}) as writer:
        channel = writer.add_channel("feed", Quantity.DC_VOLTAGE, point="pump plug", address="sim:x", driver="sim")
        writer.append_series(channel, series)
        writer.add_marker(1.0, "key-on")
        writer.add_marker(2.0, "wiggle at plug", "left side")
        writer.add_link_change(0.0, "sim on x", True, "opened", channel)
    return path


@pytest.fixture(scope="session")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small finished session that no test changes."""
    return make_session(tmp_path_factory.mktemp("good") / "good.sqlite", 3000)
