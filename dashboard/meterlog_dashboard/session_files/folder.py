"""The sessions of one folder and of the jobs in it, named so that no name can reach outside it."""

from __future__ import annotations

import os
import re
from pathlib import Path

from meterlog.errors import NotASession
from meterlog.session.names import SUFFIX

_NAME = re.compile(r"[^/\\\x00]+")
_SINCE = ": it was removed or renamed, or the address is mistyped; 'Sessions' shows what is there"


JOB_FILE = "job.toml"
"""The file that makes a folder a job's."""


class SessionFolder:
    """A folder of session files. A session's name is its file's name; in a job's folder, `JOB/FILE`."""

    def __init__(self, folder: Path) -> None:
        self.path = folder.resolve()

    def file(self, name: str) -> Path:
        """The file behind a name from the address bar or a form.

        Raises:
            NotASession: the name is not one of a session file in this folder.
        """
        *jobs, file = name.split("/")
        folder = self.path.joinpath(*jobs[:1])
        path = folder / file
        try:
            there = len(jobs) < 2 and all(map(_is_plain, (*jobs, file))) and (not jobs or is_job(folder))
            there = there and path.suffix == SUFFIX and path.is_file() and lies_in(path, folder)
        except OSError:  # longer than names can be
            there = False
        if not there:
            raise NotASession(f"there is no session '{name}' in this folder{_SINCE}", name)
        return path

    def holds(self, name: str) -> bool:
        """Tell whether there is a session file of that name, be it damaged or not."""
        try:
            self.file(name)
        except NotASession:
            return False
        return True

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


def job_of(name: str) -> str:
    """Return the job in whose folder a session lies; empty where it lies in none."""
    return name.rpartition("/")[0]


def is_job(path: Path) -> bool:
    """Tell whether it is a folder with a job in it, both themselves and no links; what it lies in is resolved."""
    try:
        file = path / JOB_FILE
        return file.is_file() and file.resolve() == file
    except OSError:  # longer than names can be
        return False


def _is_plain(name: str) -> bool:
    return bool(_NAME.fullmatch(name)) and not name.startswith(".")


def lies_in(path: Path, folder: Path) -> bool:
    """Tell whether a file lies in a folder itself, and is no link to somewhere else; the folder is resolved."""
    return not path.is_symlink() or path.resolve().parent == folder
