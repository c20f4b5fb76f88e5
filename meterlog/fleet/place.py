"""A dataset's folder: one program at a time writes it, and what was cut short is cleared first."""

from __future__ import annotations

import os
import re
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from meterlog.errors import DatasetError
from meterlog.fleet.manifest import FOLDER, NAME

_FOLDER = r"month=\d{4}-\d\d(?:/vehicle_kind=[^/]+)?"
_LIST = rf"{re.escape(NAME)}|{FOLDER}(?:/[0-9a-f]{{8}}\.json)?"
_OWN = re.compile(rf"{_LIST}|[a-z]+(?:/{_FOLDER}(?:/[0-9a-f]{{8}}\.parquet)?)?")
"""The files and folders of a dataset, by their paths in it."""


@contextmanager
def collecting(path: Path) -> Iterator[None]:
    """Inside, no other program collects into a dataset; what a killed one left half done is cleared before.

    Raises:
        DatasetError: another program collects into it, it is something else, or it cannot be written.
    """
    lock = FileLock(path.with_name(f".{path.name}.lock"))
    try:
        lock.acquire(timeout=0.0)
    except Timeout:
        raise DatasetError(f"another program collects into '{path}': try again when it is done") from None
    except OSError as error:
        raise DatasetError(f"'{path}' cannot be written: {error.strerror or error}") from error
    try:
        recover(path)
        _check(path)
        yield
    except OSError as error:
        why = os.strerror(error.errno) if error.errno else str(error)  # pyarrow's own words name the passing file
        raise DatasetError(f"'{path}' cannot be written: {why}; what was in it before still is") from error
    finally:
        lock.release()


def put_in_place(path: Path, beside: Path) -> None:
    """Let a new state take the old one's name, as nearly at once as a file system does it.

    Raises:
        OSError: it cannot.
    """
    if path.exists():
        path.rename(_before(path))
    beside.rename(path)
    shutil.rmtree(_before(path), ignore_errors=True)


def beside(path: Path) -> Path:
    """Return where a dataset's new state is made."""
    return path.with_name(f".{path.name}.part")


def _before(path: Path) -> Path:
    return path.with_name(f".{path.name}.before")


def recover(path: Path) -> None:
    """Bring back the state before what was cut short."""
    if _before(path).exists() and not path.exists():
        _before(path).rename(path)
    for left in (_before(path), beside(path)):
        if left.exists():
            shutil.rmtree(left)


def _check(path: Path) -> None:
    """Refuse what is no dataset, or holds what would be lost.

    Raises:
        DatasetError: it is.
    """
    if not path.exists():
        return
    if not path.is_dir():
        raise DatasetError(f"'{path}' is a file, no dataset: give another name")
    for folder, inside, files in os.walk(path):
        own = Path(folder).relative_to(path)
        for name in (*inside, *files):
            if not _OWN.fullmatch((own / name).as_posix()):
                raise DatasetError(f"'{path}' holds '{name}', which is no part of a dataset: give another name")
