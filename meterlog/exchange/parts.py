"""A table in parts: what a writer has made since the last one was taken."""

from __future__ import annotations

from typing import IO, AnyStr


def taken(part: IO[AnyStr]) -> AnyStr:
    """Return what was written since the last time, and empty the part."""
    part.seek(0)
    made = part.read()
    part.seek(0)
    part.truncate()
    return made
