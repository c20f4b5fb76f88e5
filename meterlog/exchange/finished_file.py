"""A file that appears under its name only when it is complete."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meterlog.errors import SessionWriteFailed


@contextmanager
def finished_file(path: Path, *, replace: bool) -> Iterator[Path]:
    """A passing name beside `path` to write to; at the end it gets its name, after an error it is removed.

    Raises:
        SessionWriteFailed: the name is taken and `replace` is false, or the file cannot be written.
    """
    if path.exists() and not replace:
        raise SessionWriteFailed(
            f"'{path}' exists already: give another name, or --replace to write over it", str(path)
        )
    passing = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield passing
        passing.replace(path)
    except OSError as error:
        if isinstance(error, SessionWriteFailed):
            raise
        why = error.strerror or str(error)
        raise SessionWriteFailed(f"'{path}' cannot be written: {why}", str(path)) from error
    finally:
        passing.unlink(missing_ok=True)
