"""Reaches folders on object storage, by their address: lists what lies there, and fetches what is read."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from tempfile import TemporaryDirectory
from typing import Any, NamedTuple

import fsspec

from meterlog.errors import DatasetError, NotFetched

_PASSWORD = re.compile(r"[^:/]+://[^/@]*:[^/@]*@")
"""Says what an address with a password begins with."""


class Stored(NamedTuple):
    """A file on object storage.

    Attributes:
        folder: its path in the folder that was listed; empty for that itself.
        name: its own.
        stamp: changes whenever the file does: of all that the storage says about it.
        size: bytes.
    """

    folder: str
    name: str
    stamp: str
    size: int


def listed(address: str) -> list[Stored]:
    """Return the files in a folder and the folders in it, by name; what is hidden is left out.

    Raises:
        DatasetError: the address is wrong, or the storage cannot be reached.
    """
    if _PASSWORD.match(address):
        raise DatasetError("an address with a password would stand in the dataset: put it into fsspec's settings")
    if "::" in address:
        raise DatasetError(f"'{address}' is more than one address: give that of a folder")
    try:
        storage, top = fsspec.core.url_to_fs(address)
        storage.invalidate_cache()
        found = storage.find(top, detail=True)
    except Exception as error:  # each kind of storage has a library of its own, with errors of its own
        raise DatasetError(f"'{address}' cannot be listed: {_told(error)}") from error
    files = (_stored(PurePosixPath(path[len(top) :].lstrip("/")), info) for path, info in found.items())
    return sorted(file for file in files if not _is_hidden(file))


def inside(address: str, path: str) -> str:
    """Return the address of what lies at a path in a folder."""
    return f"{address if address.endswith('/') else f'{address}/'}{path}" if path else address


@contextmanager
def fetched(address: str, files: tuple[str, ...]) -> Iterator[Path]:
    """Inside, copies of some files of a folder lie in a folder of this machine, which is removed afterwards.

    Raises:
        NotFetched: a file cannot be fetched.
    """
    with TemporaryDirectory(prefix="meterlog-") as folder:
        for name in files:
            try:
                storage, path = fsspec.core.url_to_fs(inside(address, name))
                storage.get_file(path, str(Path(folder, Path(name).name)))
            except Exception as error:  # as above
                raise NotFetched(f"'{inside(address, name)}' cannot be fetched: {_told(error)}") from error
        yield Path(folder)


def _stored(path: PurePosixPath, info: dict[str, Any]) -> Stored:
    said = repr(sorted((key, str(value)) for key, value in info.items()))
    folder = "" if path.parent == PurePosixPath() else path.parent.as_posix()
    return Stored(folder, path.name, hashlib.sha256(said.encode()).hexdigest(), int(info.get("size") or 0))


def _is_hidden(file: Stored) -> bool:
    return any(part.startswith(".") for part in (*file.folder.split("/"), file.name))


def _told(error: Exception) -> str:
    return f"{type(error).__name__}: {' '.join(str(error).split())}"
