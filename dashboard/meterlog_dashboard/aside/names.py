"""Names that a person gives to files and folders, and the folder that holds what was removed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import count
from pathlib import Path

from meterlog.errors import UsageError

REMOVED = ".removed"
"""The folder below the sessions' and jobs' that holds what was removed; no list looks into it."""
_LONGEST = 120
"""Characters of a name; file systems take 255 bytes."""
_NOT_IN_A_NAME = re.compile(r'[\x00-\x1f/\\\\:*?"<>|\ud800-\udfff]')
"""Characters that one of the usual systems refuses in a name; the last are halves of characters."""


def checked_name(typed: str, whose: str) -> str:
    """Return a name as it was typed, without the spaces around it; `whose` it is is said where it cannot be.

    Raises:
        UsageError: one of the usual systems cannot have it.
    """
    name = typed.strip()
    if not name or name.startswith(".") or len(name) > _LONGEST or _NOT_IN_A_NAME.search(name):
        raise UsageError(f"'{name}' cannot be a {whose}'s name: up to {_LONGEST} letters, none of / \\ : * ? \" < > |")
    return name


def need_free(new: Path, what: str) -> None:
    """Refuse to overwrite.

    Raises:
        UsageError: the new name is taken.
    """
    if new.exists():
        raise UsageError(f"there is a {what} '{new.name}' already: give another name")


def free_aside(path: Path) -> Path:
    """Return where a file or folder can be put aside: below the folder that it lies in, under a name that is free.

    Raises:
        UsageError: the folder for what is removed cannot be used.
    """
    kept = path.parent / REMOVED
    if not kept.exists():
        kept.mkdir()
    if not _is_own(kept):
        raise UsageError(f"'{REMOVED}' is not a folder of its own here: move it away first")
    names = (f"{path.stem}{f'-{number}' if number > 1 else ''}{path.suffix}" for number in count(1))
    return next(kept / one for one in names if not (kept / one).exists())


def put_aside(folder: Path) -> Iterator[Path]:
    """Yield what was removed from a folder, the last first; links are left out."""
    kept = folder / REMOVED
    if _is_own(kept):
        own = (path for path in kept.iterdir() if not path.is_symlink())
        yield from sorted(own, key=lambda path: -path.stat().st_ctime)


def _is_own(kept: Path) -> bool:
    return kept.is_dir() and not kept.is_symlink()
