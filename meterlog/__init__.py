"""meterlog records, times, detects, compares and explains what a multimeter shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

    from meterlog.notebook import Session

__version__ = "0.1.0"

__all__ = ["__version__", "open_session"]


def open_session(path: Path | str) -> Session:
    """A session as pandas frames, for a notebook: `.frame("pump feed")`, `.markers`, `.events()`, `.details`.

    Raises:
        SessionError: it cannot be read.
    """
    from meterlog.notebook import Session  # pandas is loaded only here

    return Session(path)
