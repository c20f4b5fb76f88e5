"""The jobs of one folder, named so that no name and no link can reach outside it."""

from __future__ import annotations

import hashlib
import re
import threading
from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from meterlog.errors import JobError
from meterlog_dashboard.session_files.folder import JOB_FILE, is_job, lies_in

if TYPE_CHECKING:  # they import much, and the page is to be there at once
    from meterlog.job.job import Job
    from meterlog.job.status import Known, Status

_NAME = re.compile(r"[^/\\\x00]+")
_KEPT = 64
"""Jobs whose standing is kept in memory, so that a list of them is there at once. A guess."""
_LONGEST_NAME = 40
"""Characters of a new folder's name. A choice: it is read in a list."""


class JobFolders:
    """The jobs right below a folder; a job's name is its folder's. Usable from any thread."""

    def __init__(self, folder: Path) -> None:
        self.path = folder.resolve()
        self.changing = threading.Lock()
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[str, str, bool], Known] = OrderedDict()

    def folder(self, name: str) -> Path:
        """The folder behind a name from the address bar or a form.

        Raises:
            JobError: there is no job of that name in this folder.
        """
        path = self.path / name
        if not _NAME.fullmatch(name) or name.startswith(".") or not is_job(path):
            raise JobError(
                f"there is no job '{name}' in this folder: it was removed or renamed, or the address is mistyped;"
                " 'Jobs' shows what is there"
            )
        return path

    def names(self) -> list[str]:
        """The jobs' names, the one that changed last first."""
        found = [path.parent for path in self.path.glob(f"*/{JOB_FILE}") if is_job(path.parent)]
        found = [path for path in found if not path.name.startswith(".")]
        return [path.name for path in sorted(found, key=lambda path: -(path / JOB_FILE).stat().st_mtime)]

    def read(self, name: str) -> Job:
        """A job as its file says.

        Raises:
            JobError: there is none, it is damaged, or a file of it lies elsewhere.
        """
        from meterlog.job.job_file import read_job

        job = read_job(self.folder(name))
        files = [job.circuit]
        files += [str(step.values[key]) for step in job.steps for key in ("session", "file") if key in step.values]
        for file in filter(None, files):
            if Path(file).name != file or not lies_in(job.folder / file, job.folder):
                raise JobError(f"'{file}' is not in the folder of the job '{name}': put the file itself there")
        return job

    def version(self, name: str) -> str:
        """Return what changes whenever the job's file does.

        Raises:
            JobError: there is no such job.
        """
        try:
            return hashlib.sha256((self.folder(name) / JOB_FILE).read_bytes()).hexdigest()[:16]
        except OSError as error:
            raise JobError(f"the job '{name}' cannot be read: {error.strerror or error}") from error

    def status(self, name: str) -> tuple[Status, str]:
        """Where a job stands with what comes next, and the version of its file that says so.

        Raises:
            MeterlogError: the job or its circuit cannot be used.
        """
        from meterlog.job.status import Status, status_of

        version = self.version(name)
        found = self._once((name, version, True), status_of)
        assert isinstance(found, Status)
        return found, version

    def known(self, name: str) -> Known:
        """Return what is known of a job, for a list.

        Raises:
            MeterlogError: as `status`.
        """
        from meterlog.job.status import known_of

        return self._once((name, self.version(name), False), known_of)

    def _once(self, key: tuple[str, str, bool], work_out: Callable[[Job], Known]) -> Known:
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        found = work_out(self.read(key[0]))
        with self._lock:
            self._kept[key] = found
            while len(self._kept) > _KEPT:
                self._kept.popitem(last=False)
        return found

    def free_name(self, words: str) -> str:
        """A name for a new job's folder: the day, and the words as far as a folder can be called so."""
        plain = re.sub(r"[^a-z0-9]+", "-", words.casefold()).strip("-")[:_LONGEST_NAME].strip("-")
        stem = f"{datetime.now().astimezone():%Y-%m-%d}-{plain or 'job'}"
        names = (stem if number == 1 else f"{stem}-{number}" for number in count(1))
        return next(name for name in names if not (self.path / name).exists())
