"""Says on a terminal how far something long is; elsewhere, and where it is quick, it says nothing."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from meterlog.text.safe import one_line

_AFTER_S, _EACH_S = 1.0, 0.25
"""No word comes before the first of these has passed, then one each so often, s. Guesses."""
_ERASE_LINE = "\r\x1b[K"


@contextmanager
def progress(what: str, total: int) -> Iterator[Callable[[int], None]]:
    """A function to call with how many of `total` are done; its line is gone at the end."""
    stream = sys.__stderr__
    if stream is None or not stream.isatty() or not total:
        yield lambda _: None
        return
    due_s, shown = time.monotonic() + _AFTER_S, False

    def told(done: int) -> None:
        nonlocal due_s, shown
        if (now_s := time.monotonic()) >= due_s:
            stream.write(f"{_ERASE_LINE}{one_line(what)}: {100 * done // total} %")
            stream.flush()
            due_s, shown = now_s + _EACH_S, True

    try:
        yield told
    finally:
        if shown:
            stream.write(_ERASE_LINE)
            stream.flush()
