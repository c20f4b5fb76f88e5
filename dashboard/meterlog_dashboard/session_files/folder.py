"""The sessions of one folder, named so that no name can reach outside it."""

from __future__ import annotations

import os
import re
from pathlib import Path

from meterlog.errors import NotASession
from meterlog.session.names import SUFFIX

_NAME = re.compile(r"[^/\\\x00]+")
_SINCE = ": it was removed or renamed, or the address is mistyped; 'Sessions' shows what is there"


class SessionFolder:
    """A folder of session files. A session's name is its file's name; there are no sub-folders."""

    def __init__(self, folder: Path) -> None:
        self.path = folder.resolve()

    def file(self, name: str) -> Path:
        """The file behind a name from the address bar or a form.

        Raises:
            NotASession: the name is not one of a session file in this folder.
        """
        path = self.path / name
        if not _NAME.fullmatch(name) or name.startswith(".") or path.suffix != SUFFIX:
            raise NotASession(f"there is no session '{name}' in this folder{_SINCE}", name)
        try:
            there = path.is_file() and lies_in(path, self.path)
        except OSError:  # longer than names can be
            there = False
        if not there:
            raise NotASession(f"there is no session '{name}' in this folder{_SINCE}", name)
        return path

    def without_paths(self, text: str) -> str:
        """A sentence that names files of this folder by their names alone: where it lies is nobody's business."""
        return text.replace(f"{self.path}{os.sep}", "").replace(str(self.path), "this folder")

    def names(self) -> list[str]:
        """The session files' names, newest first; no link out of the folder."""
        files = [
            (entry.stat().st_mtime, entry.name)
            for entry in self.path.glob(f"*{SUFFIX}")
            if entry.is_file() and lies_in(entry, self.path)
        ]
        return [name for _, name in sorted(files, reverse=True)]


def lies_in(path: Path, folder: Path) -> bool:
    """Tell whether a file lies in a folder itself, and is no link to somewhere else; the folder is resolved."""
    return not path.is_symlink() or path.resolve().parent == folder
