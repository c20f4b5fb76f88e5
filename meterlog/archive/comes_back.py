"""Says what bringing an archived session back would do, without doing it."""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from meterlog.archive.move import name_of

_SIZE_AT_END = struct.Struct("<I")
"""The last field of a packed file: the bytes it unpacks to, modulo 2^32 (RFC 1952, 2.3.1)."""


@dataclass(frozen=True, slots=True)
class ComesBack:
    """Holds what would come back.

    Attributes:
        name: the session's, with its month in front, as `bring_back` takes it.
        raw: raw captures that come with it.
        packed: bytes they take in the archive.
        size: bytes they take once they are back; of files up to 4 GiB.
        in_the_way: names of files in the folder that bear a name of theirs.
    """

    name: str
    raw: int
    packed: int
    size: int
    in_the_way: tuple[str, ...]


def what_comes_back(folder: Path, packed: Path, raw: Sequence[Path]) -> ComesBack:
    """Look at an archived session.

    Args:
        folder: where it would be.
        packed: it, one of `archived(folder)`.
        raw: its packed raw captures.

    Raises:
        OSError: it is gone, or cannot be read.
    """
    files = [*raw, packed]
    names = list(map(name_of, files))
    return ComesBack(
        name=f"{packed.parent.name}/{names[-1]}",
        raw=len(files) - 1,
        packed=sum(path.stat().st_size for path in files),
        size=sum(map(_unpacked_size, files)),
        in_the_way=tuple(name for name in names if (folder / name).exists()),
    )


def _unpacked_size(packed: Path) -> int:
    with packed.open("rb") as file:
        file.seek(-_SIZE_AT_END.size, 2)
        (size,) = _SIZE_AT_END.unpack(file.read(_SIZE_AT_END.size))
    return int(size)
