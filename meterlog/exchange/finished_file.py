"""A file that appears under its name only when it is complete."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from meterlog.errors import SessionWriteFailed

REPLACE_HELP = "write over an existing file"
"""Says what `--replace` does in every command that makes a file. A session is never written over: it may be the only
one."""


def refuse_existing(path: Path, *, replace: bool) -> None:
    """Look whether the name is free, before the work begins.

    Raises:
        SessionWriteFailed: it is not, and `replace` is false.
    """
    if path.exists() and not replace:
        raise SessionWriteFailed(
            f"'{path}' exists already: give another name, or --replace to write over it", str(path)
        )


@contextmanager
def finished_file(path: Path, *, replace: bool) -> Iterator[Path]:
    """A passing name beside `path` to write to; at the end it gets its name, after an error it is removed.

    Raises:
        SessionWriteFailed: the name is taken and `replace` is false, or the file cannot be written.
    """
    refuse_existing(path, replace=replace)
    passing = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        yield passing
        with passing.open("r+b") as file:
            os.fsync(file.fileno())  # else a power cut may leave the name with nothing behind it
        passing.replace(path)
    except OSError as error:
        if isinstance(error, SessionWriteFailed):
            raise
        why = os.strerror(error.errno) if error.errno else str(error)  # pyarrow's own words name the passing file
        raise SessionWriteFailed(f"'{path}' cannot be written: {why}", str(path)) from error
    finally:
        with suppress(OSError):  # a folder that cannot be written refuses even to look for what is not there
            passing.unlink(missing_ok=True)
