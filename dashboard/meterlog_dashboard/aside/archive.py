"""Archived sessions on the page: which there are, what bringing one back would do, and that. No link is followed."""

from __future__ import annotations

from itertools import groupby
from pathlib import Path

from meterlog.archive import FOLDER, ComesBack, archived, bring_back, raw_in, raw_of, what_comes_back
from meterlog.errors import UsageError
from meterlog_dashboard.session_files.folder import SessionFolder


def newest(folder: SessionFolder, most: int) -> tuple[list[ComesBack], int]:
    """The archived sessions of the last months, the newest first, and how many there are in all."""
    if not _is_own(folder.path / FOLDER):
        return [], 0
    packed = archived(folder.path)
    found = []
    for month, some in groupby(packed[: -most - 1 : -1], lambda one: one.parent):
        raw = raw_in(month)
        for one in some:
            its = raw.get(Path(one.stem).stem, [])
            try:
                if all(map(_is_own, (one, *its))):
                    found.append(what_comes_back(folder.path, one, its))
            except OSError:  # it has just been brought back, or is no packed file
                continue
    return found, len(packed)


def restore(folder: SessionFolder, name: str) -> str:
    """Bring a session back; its name in the folder.

    Args:
        folder: the folder it was in.
        name: the session's, with its month in front.

    Raises:
        UsageError: none is archived under the name.
        SessionError: it is damaged, or being moved, or another file has its name.
    """
    own = {f"{one.parent.name}/{one.stem}": one for one in archived(folder.path)}
    if name not in own or not all(map(_is_own, (own[name], *raw_of(own[name])))):
        raise UsageError(f"no session '{name}' is archived here")
    return bring_back(folder.path, name).name


def _is_own(path: Path) -> bool:
    """Tell whether it is there itself, and not by a link; what it lies in is resolved."""
    return path.exists() and path.resolve() == path
