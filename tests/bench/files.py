"""Many files and large tables: `python -m tests.bench.files`."""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from meterlog.reading import Quantity
from meterlog.series import Series
from meterlog.session import SessionWriter
from tests.bench.table import Row, at_most, in_turns, show

SESSIONS, LIST_GOAL_S = 5000, 5.0
TABLE_ROWS, IMPORT_GOAL_S = 1_000_000, 5.0


def _meterlog(*words: str) -> None:
    subprocess.run([sys.executable, "-m", "meterlog", *words], check=True, capture_output=True)


def a_folder(folder: Path) -> Row:
    """`meterlog sessions` on a folder of many."""
    folder.mkdir()
    first = folder / "0.sqlite"
    with SessionWriter.create(first, details={"vehicle": "van"}) as writer:
        time_s = np.asarray(np.arange(5000) * 0.1, np.float64)
        series = Series(time_s, np.full(5000, 12.6), np.full(5000, 0.01, np.float32), np.zeros(5000, np.uint16))
        writer.append_series(writer.add_channel("feed", Quantity.DC_VOLTAGE), series)
        writer.add_marker(1.0, "crank")
    for n in range(1, SESSIONS):
        shutil.copyfile(first, folder / f"{n}.sqlite")

    def headers() -> None:
        for path in folder.iterdir():
            with path.open("rb") as file:
                file.read(100)

    list_s, headers_s = in_turns(lambda: _meterlog("sessions", str(folder)), headers, times=3)
    ratio = f"{list_s / headers_s:.0f} x reading 100 bytes of each"
    return at_most(f"`meterlog sessions` on {SESSIONS} files", list_s, LIST_GOAL_S, "s", ratio)


def a_table(folder: Path) -> Row:
    """`meterlog import` of a large CSV file."""
    path = folder / "table.csv"
    rng = np.random.default_rng(1)
    value = 12.6 + rng.normal(0, 0.05, TABLE_ROWS)
    with path.open("w") as file:
        file.write("time,feed\n")
        file.writelines(f"{i * 0.1:.1f},{v:.3f}\n" for i, v in enumerate(value.tolist()))
    took_s = []
    for n in range(2):
        begun_s = time.perf_counter()
        options = ("--time", "time", "--value", "feed", "--quantity", "dc_voltage", "--unit", "V")
        _meterlog("import", str(path), *options, "--out", str(folder / f"{n}.sqlite"))
        took_s.append(time.perf_counter() - begun_s)
    plain = f"import pandas; pandas.read_csv({str(path)!r})"
    (pandas_s,) = in_turns(lambda: subprocess.run([sys.executable, "-c", plain], check=True), times=2)
    ratio = f"{min(took_s) / pandas_s:.1f} x reading it with pandas"
    return at_most(f"`meterlog import` of {TABLE_ROWS / 1e6:g} M rows of CSV", min(took_s), IMPORT_GOAL_S, "s", ratio)


def rows() -> Iterator[Row]:
    """A folder of sessions, a large table."""
    with tempfile.TemporaryDirectory() as name:
        yield a_folder(Path(name) / "many")
        yield a_table(Path(name))


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
