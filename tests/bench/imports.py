"""Tables from elsewhere: time beside pandas, memory over the length of the file, and files that are too much.

`python -m tests.bench.imports`
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from tests.bench.table import Row, at_most, in_turns, show
from tests.exchange.table.traps.packed import workbook

ROWS, TIMES_PANDAS, MOST_MB = 1_000_000, 3.0, 300.0
_NAMED = ("--time", "time", "--value", "feed", "--quantity", "dc_voltage", "--unit", "V")
_MEASURED = (
    "import resource, subprocess, sys;"
    "done = subprocess.run([sys.executable, '-m', 'meterlog', *sys.argv[1:]], capture_output=True, text=True);"
    "print(done.returncode, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss, len(done.stderr.splitlines()))"
)


def _plain(path: Path, rows: int) -> Path:
    rng = np.random.default_rng(1)
    with path.open("w") as file:
        file.write("time,feed\n")
        for start in range(0, rows, 100_000):
            values = (12.6 + rng.normal(0, 0.05, 100_000)).tolist()
            file.writelines(f"{(start + i) * 0.1:.1f},{value:.3f}\n" for i, value in enumerate(values))
    return path


def _dated(path: Path, rows: int) -> Path:
    rng = np.random.default_rng(2)
    with path.open("w") as file:
        file.write("time;feed\n")
        for i, value in enumerate(rng.integers(100, 999, rows).tolist()):
            day, ms = divmod(i * 100, 86_400_000)
            clock = f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02},{ms % 1000:03}"
            file.write(f"{23 + day}.05.2024 {clock};12,{value}\n")
    return path


def _beside_pandas(what: str, path: Path, reading: str) -> Row:
    """`meterlog import` and reading the same file with pandas, each in a process of its own."""
    out = path.with_suffix(".sqlite")

    def ours() -> None:
        out.unlink(missing_ok=True)
        words = ["import", str(path), *_NAMED, "--out", str(out)]
        subprocess.run([sys.executable, "-m", "meterlog", *words], check=True, capture_output=True)

    def theirs() -> None:
        subprocess.run([sys.executable, "-c", f"import pandas; pandas.read_csv({str(path)!r}{reading})"], check=True)

    ours_s, theirs_s = in_turns(ours, theirs, times=3)
    figure = f"{ours_s:.1f} s and {theirs_s:.1f} s, process start and imports in both"
    return at_most(f"1 M rows {what}, times `pandas.read_csv`", ours_s / theirs_s, TIMES_PANDAS, "times", figure)


_IN_ONE = (
    "import contextlib, io, sys, time, pandas;"
    "from meterlog.cli.main import main;"
    "quiet = io.StringIO(); begun_s = time.process_time(); pandas.read_csv(sys.argv[2]);"
    "theirs_s = time.process_time() - begun_s; begun_s = time.process_time();\n"
    "with contextlib.redirect_stdout(quiet), contextlib.redirect_stderr(quiet): main(sys.argv[1:])\n"
    "print(time.process_time() - begun_s, theirs_s)"
)


def _without_starts(path: Path) -> Row:
    """The same in one process that has imported both: what the work itself takes of the processor."""
    words = ["import", str(path), *_NAMED, "--out", str(path.with_name("one.sqlite"))]
    done = subprocess.run([sys.executable, "-c", _IN_ONE, *words], check=True, capture_output=True, text=True)
    ours_s, theirs_s = map(float, done.stdout.split())
    figure = f"{ours_s:.2f} s and {theirs_s:.2f} s of the processor"
    return at_most("the same without process start and imports", ours_s / theirs_s, TIMES_PANDAS, "times", figure)


def _peak_mb(*words: str) -> tuple[int, float, int]:
    done = subprocess.run([sys.executable, "-c", _MEASURED, *words], check=True, capture_output=True, text=True)
    status, kilobytes, lines = map(int, done.stdout.split())
    return status, kilobytes / 1024, lines


def _memory(folder: Path) -> Iterator[Row]:
    peaks = []
    for rows in (200_000, ROWS, 3 * ROWS):
        path = _plain(folder / f"{rows}.csv", rows)
        status, peak_mb, _ = _peak_mb("import", str(path), *_NAMED, "--out", str(folder / f"{rows}.sqlite"))
        assert status == 0
        peaks.append(peak_mb)
        path.unlink()
    shown = ", ".join(f"{peak:.0f}" for peak in peaks) + " MB for 0.2, 1 and 3 M rows"
    yield at_most("memory of 3 M rows over that of 0.2 M", peaks[-1] / peaks[0], 1.2, "times", shown)


def _too_much(folder: Path) -> Iterator[tuple[str, Path]]:
    endless = folder / "endless.csv"
    with endless.open("w") as file:
        file.write("time,feed\n")
        for _ in range(1000):
            file.write("7" * 10**6)
    yield "a line of 1 GB", endless
    far = folder / "far.csv"
    far.write_text("time,feed\n" + "".join(f"{i}e300,12.5\n" for i in range(1, 1000)))
    yield "times of 1e300 s", far
    wide = folder / "wide.csv"
    wide.write_text("\n".join(",".join(str(k + i) for k in range(100_000)) for i in range(20)) + "\n")
    yield "100,000 columns", wide
    packed = folder / "bomb.xlsx"
    packed.write_bytes(workbook({"Data": [["time", "feed"], [0.0, 1.0]]}))
    with zipfile.ZipFile(packed, "a", zipfile.ZIP_DEFLATED) as bomb, bomb.open("xl/worksheets/more.xml", "w") as member:
        for _ in range(2000):
            member.write(b" " * 10**6)
    yield "a workbook that unpacks to 2 GB", packed
    columns = folder / "bomb.parquet"
    zeros = pa.nulls(50_000_000, pa.float64()).fill_null(0.0)
    pq.write_table(pa.table({"time": zeros, "feed": zeros}), columns, row_group_size=len(zeros), use_dictionary=False)
    yield "Parquet that unpacks to 800 MB", columns


def rows() -> Iterator[Row]:
    """Speed, memory, bounds."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        yield _beside_pandas("of plain numbers", _plain(folder / "plain.csv", ROWS), "")
        yield _without_starts(folder / "plain.csv")
        options = ", sep=';', decimal=',', parse_dates=['time'], date_format='%d.%m.%Y %H:%M:%S,%f'"
        yield _beside_pandas("with dates and decimal commas", _dated(folder / "dated.csv", ROWS), options)
        yield from _memory(folder)
        for what, path in _too_much(folder):
            status, peak_mb, lines = _peak_mb("import", str(path), *_NAMED, "--out", str(folder / "none.sqlite"))
            said = f"exit {status}, {lines} line{'' if lines == 1 else 's'} on stderr"
            yield at_most(f"{what}: memory", peak_mb, MOST_MB, "MB", said)
            path.unlink()


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
