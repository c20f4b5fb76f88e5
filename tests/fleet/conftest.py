"""A folder of sessions, some with a prime, that the tests collect, and the tables of what they collected."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from meterlog.fleet.collect import collect
from meterlog.fleet.tables import TABLES, key_of
from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

Write = Callable[..., Path]

SESSIONS = 40
"""In the fixture `folder`."""


def table(dataset: Path, name: str) -> pd.DataFrame:
    """Read a table of a dataset, in an order of its own."""
    frame = pd.read_parquet(dataset / name)
    order = [key for key in (key_of(name), "number", "channel", "time_s") if key in frame]
    parted = {column: frame[column].astype(str) for column in ("month", "vehicle_kind")}
    return frame.assign(**parted).sort_values(order, ignore_index=True)


def everything(dataset: Path) -> dict[str, pd.DataFrame]:
    """Read all tables of a dataset."""
    return {name: table(dataset, name) for name in TABLES}


def contents(dataset: Path) -> dict[str, str]:
    """Read all tables of a dataset as text."""
    return {name: frame.to_csv() for name, frame in everything(dataset).items()}


def is_complete(dataset: Path, folder: Path) -> bool:
    """Tell whether a dataset is what one process, undisturbed, makes of a folder."""
    alone = dataset.with_name("alone")
    collect([folder], alone, workers=1)
    return contents(dataset) == contents(alone)


def fills(*_: object) -> None:
    """Do what a full disk does."""
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


def on_call(number: int, usual: Callable[..., None], instead: Callable[..., None]) -> Callable[..., None]:
    """Make a function that does something else when it is called for the so-many-th time, from 1."""
    calls = count(1)

    def call(*arguments: object) -> None:
        (instead if next(calls) == number else usual)(*arguments)

    return call


_STANDS_STILL = """
import sys, time
from meterlog.cli import main
from meterlog.fleet import collect, dataset
from tests.fleet.conftest import on_call

def stands_still(path, beside):
    print("it stands still", flush=True)
    time.sleep(600)

if __name__ == "__main__":
    collect._ROUND = 16
    dataset.put_in_place = on_call(2, dataset.put_in_place, stands_still)
    main(sys.argv[1:])
"""


def kill_in_the_second_round(words: Sequence[str]) -> None:
    """Let a program collect 16 sessions, and kill it when the next are about to take their place."""
    root = Path(__file__).parents[2]
    words = [sys.executable, "-c", _STANDS_STILL, *words]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True, cwd=root) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "it stands still\n"
        running.kill()


@pytest.fixture
def folder(tmp_path: Path, write: Write) -> Path:
    """Sessions of three months, one of them damaged."""
    for number in range(SESSIONS - 1):
        write(f"{number:02}", 10.0 + number / 10, month=1 + number % 3)
    (tmp_path / "sessions" / "broken.sqlite").write_bytes(b"no session at all")
    return tmp_path / "sessions"


@pytest.fixture
def write(tmp_path: Path) -> Write:
    """Write a session with a prime of some level into the folder `sessions`."""

    def _write(name: str, level_v: float = 12.0, *, month: int = 1, system_v: str = "12", vehicle: str = "") -> Path:
        path = tmp_path / "sessions" / f"{name}.sqlite"
        path.parent.mkdir(exist_ok=True)
        path.unlink(missing_ok=True)
        time_s = np.arange(0.0, 8.0, 0.25)
        value = np.where((time_s >= 2.0) & (time_s < 4.0), level_v, 0.0)
        details = {"vehicle": vehicle or f"van {name}", "system_v": system_v, "temperature_c": "-5"}
        began = datetime(2026, month, 5, tzinfo=UTC)
        with SessionWriter.create(path, started_at=began, details=details) as writer:
            feed = writer.add_channel("pump feed", Quantity.DC_VOLTAGE, driver="text")
            writer.append_series(feed, Series(time_s, value, np.full(32, 0.01, "f4"), np.zeros(32, "u2")))
            writer.add_marker(1.9, "key-on")
        return path

    return _write
