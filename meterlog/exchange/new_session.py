"""A session file that appears under its name only when it is complete."""

from __future__ import annotations

import os
from collections.abc import Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from types import TracebackType

from meterlog.errors import SessionWriteFailed
from meterlog.session.database import KEPT, write_errors
from meterlog.session.writer import SessionWriter


class NewSession:
    """Made under a passing name beside its own; removed again unless `keep` was called."""

    def __init__(self, path: Path) -> None:
        """Look whether the name is free.

        Raises:
            SessionWriteFailed: it is not.
        """
        self._path = path
        self._passing = path.with_name(f".{path.name}.{os.getpid()}.part")
        self._writer: SessionWriter | None = None
        _refuse_existing(path)

    def begin(self, started_at: datetime, details: Mapping[str, str]) -> SessionWriter:
        """The writer of it, to be called once; its times count from the session's start."""
        try:
            self._writer = SessionWriter.create(
                self._passing, monotonic_start_s=0.0, started_at=started_at, details=details
            )
        except SessionWriteFailed as error:
            raise self._failed(error) from error
        return self._writer

    def _failed(self, error: SessionWriteFailed) -> SessionWriteFailed:
        """The same under the name that the user knows; of what was written nothing is kept here."""
        said = str(error).replace(str(self._passing), str(self._path)).removesuffix(KEPT)
        return SessionWriteFailed(f"{said}; no session was made", str(self._path))

    def keep(self, path: Path | None = None) -> None:
        """End it and give it its name, or another one.

        Raises:
            SessionWriteFailed: it could not be written, or the name was taken meanwhile.
        """
        if self._writer is not None:
            self._writer.close()
        path = path or self._path
        _refuse_existing(path)
        with write_errors(path):
            self._passing.rename(path)

    def __enter__(self) -> NewSession:
        return self

    def __exit__(self, _: type[BaseException] | None, error: BaseException | None, __: TracebackType | None) -> None:
        failure = error
        try:
            if self._writer is not None:
                self._writer.close()
        except SessionWriteFailed as at_close:
            failure = failure or at_close
        finally:
            for suffix in ("", "-wal", "-shm", "-journal"):
                with suppress(OSError):  # a folder that cannot be written
                    self._passing.with_name(self._passing.name + suffix).unlink(missing_ok=True)
        if isinstance(failure, SessionWriteFailed) and failure.path == str(self._passing):
            raise self._failed(failure) from failure


def _refuse_existing(path: Path) -> None:
    if path.exists():
        raise SessionWriteFailed(
            f"'{path}' exists already, and a session never overwrites a file: give another name", str(path)
        )
