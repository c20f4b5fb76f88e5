"""A view: a part of the page with an address of its own."""

from __future__ import annotations

import errno
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

from dash import Dash
from dash.development.base_component import Component

from meterlog.errors import MeterlogError
from meterlog.extras import missing_library
from meterlog_dashboard.gate.access import Access
from meterlog_dashboard.job.folder import JobFolders
from meterlog_dashboard.session_files.cache import SessionCache
from meterlog_dashboard.session_files.folder import SessionFolder
from meterlog_dashboard.session_files.measures import MeasuredSessions
from meterlog_dashboard.session_files.session_list import SessionList


@dataclass(frozen=True, slots=True)
class Context:
    """The sessions and jobs that every view works with.

    Attributes:
        folder: the session files, found by name.
        opened: those that were looked at, in memory.
        listed: a summary of each of them.
        measured: the measures and events of those whose vehicle was looked at.
        jobs: the folders with a job.
        access: the gate.
    """

    folder: SessionFolder
    opened: SessionCache
    listed: SessionList
    measured: MeasuredSessions
    jobs: JobFolders
    access: Access

    @classmethod
    def of(cls, path: Path, access: Access) -> Context:
        """The context of a folder behind its gate."""
        folder = SessionFolder(path)
        listed, jobs = SessionList(folder.path), JobFolders(folder.path)
        return cls(folder, SessionCache(folder), listed, MeasuredSessions(), jobs, access)

    def said(self, error: Exception) -> str:
        """An error's sentence for the page: files by their names alone, a missing library with what brings it."""
        missing = missing_library(error) if isinstance(error, ModuleNotFoundError) else None
        if isinstance(error, OSError) and not isinstance(error, MeterlogError):
            room = "make room on the disk" if error.errno == errno.ENOSPC else "put that right"
            return f"the operating system reports: {error.strerror or error}; {room}, then press again"
        return missing or self.folder.without_paths(str(error))


class View(Protocol):
    """One module a view; the module itself is the object.

    Attributes:
        PATH: the first part of its address, `/record`.
        TITLE: its name in the navigation.
    """

    PATH: str
    TITLE: str

    def layout(self, context: Context, rest: str, query: Mapping[str, str]) -> Component:
        """The content for `PATH/rest?query`."""
        ...

    def register(self, app: Dash, context: Context) -> Any:
        """Add its callbacks."""
        ...
