"""Waits in tests that take as long as a busy machine needs, and no longer."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

from meterlog.cli.main import main


def until(condition: Callable[[], bool], timeout_s: float = 60.0) -> None:
    """Wait until it is so; fail where it does not become so."""
    give_up_s = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < give_up_s, "it never came"
        time.sleep(0.005)


def record_some(out: Path, *words: str) -> None:
    """Record for a moment; for longer where a busy machine had no reading in that."""
    for for_s in ("0.3", "3", "30"):
        if main(["record", *words, "--for", for_s, "--out", str(out)]) == 0:
            return  # without a reading it leaves no file, and says so with its status
    raise AssertionError("no reading came in half a minute")
