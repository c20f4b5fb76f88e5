"""The whole demonstration, timed: `python -m tests.bench.demo`."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from pathlib import Path

MOST_S = 60.0


def main() -> int:
    """Run it in an empty folder; 0 when it succeeded within a minute."""
    with tempfile.TemporaryDirectory() as folder:
        began_s = time.monotonic()
        done = subprocess.run([sys.executable, "-m", "meterlog", "demo"], cwd=folder, check=False, timeout=120)
        took_s = time.monotonic() - began_s
        sessions = list(Path(folder, "demo-sessions").glob("*.sqlite"))
    good = done.returncode == 0 and took_s < MOST_S and len(sessions) == 2
    verdict = "ok" if good else "NOT ok"
    print(f"demo: exit {done.returncode}, {len(sessions)} sessions, {took_s:.1f} s of {MOST_S:g}: {verdict}")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
