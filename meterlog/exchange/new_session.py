"""A session file that appears under its name only when it is complete."""

from __future__ import annotations

import os
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from types import TracebackType

from meterlog.errors import SessionWriteFailed
from meterlog.session.database import write_errors
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
        self._refuse_existing()

    def _refuse_existing(self) -> None:
        if self._path.exists():
            raise SessionWriteFailed(
                f"'{self._path}' exists already, and a session never overwrites a file: give another name",
                str(self._path),
            )

    def begin(self, started_at: datetime, details: Mapping[str, str]) -> SessionWriter:
        """The writer of it, to be called once; its times count from the session's start."""
        try:
            self._writer = SessionWriter.create(
                self._passing, monotonic_start_s=0.0, started_at=started_at, details=details
            )
        except SessionWriteFailed as error:
            raise SessionWriteFailed(
                str(error).replace(str(self._passing), str(self._path)), str(self._path)
            ) from error
        return self._writer

    def keep(self) -> None:
        """End it and give it its name.

        Raises:
            SessionWriteFailed: it could not be written, or the name was taken meanwhile.
        """
        if self._writer is not None:
            self._writer.close()
        self._refuse_existing()
        with write_errors(self._path):
            self._passing.rename(self._path)

    def __enter__(self) -> NewSession:
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        try:
            if self._writer is not None:
                self._writer.close()
        finally:
            for suffix in ("", "-wal", "-shm", "-journal"):
                self._passing.with_name(self._passing.name + suffix).unlink(missing_ok=True)
