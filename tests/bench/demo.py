"""The whole demonstration, timed: `python -m tests.bench.demo`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.table import Row, at_most, show

MOST_S = 90.0


def rows() -> Iterator[Row]:
    """Run it in an empty folder."""
    with tempfile.TemporaryDirectory() as folder:
        began_s = time.monotonic()
        done = subprocess.run(
            [sys.executable, "-m", "meterlog", "demo"], cwd=folder, check=False, timeout=240, stdout=subprocess.DEVNULL
        )
        took_s = time.monotonic() - began_s
        sessions = list(Path(folder, "demo-job").glob("*.sqlite"))
        good = done.returncode == 0 and Path(folder, "demo-job", "report.html").is_file()
    row = at_most("`meterlog demo`, the whole job", took_s, MOST_S, "s", f"{len(sessions)} sessions")
    yield row if good else row._replace(verdict=f"FAILED, exit status {done.returncode}")


if __name__ == "__main__":
    sys.exit(show(rows()) > 0)
