"""Waits in tests that take as long as a busy machine needs, and no longer."""

from __future__ import annotations

import time
from collections.abc import Callable


def until(condition: Callable[[], bool], timeout_s: float = 60.0) -> None:
    """Wait until it is so; fail where it does not become so."""
    give_up_s = time.monotonic() + timeout_s
    while not condition():
        assert time.monotonic() < give_up_s, "it never came"
        time.sleep(0.005)
