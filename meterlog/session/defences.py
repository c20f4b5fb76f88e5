"""A connection to a file that may come from anyone: what it may cost is bounded by its size.

SQLite's own defences that Python can reach (https://www.sqlite.org/security.html). `SQLITE_DBCONFIG_DEFENSIVE` is out
of reach before Python 3.12; all that it forbids would need a statement of a stranger's, and `structure` sees to it
that there is none.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Sequence
from typing import Any

LONGEST_CELL = 2**21
"""Bytes in a cell or row. A chunk of 4096 readings takes at most 0.1 MB, a note that a person types far less."""

_LIMITS = {
    sqlite3.SQLITE_LIMIT_LENGTH: LONGEST_CELL,
    sqlite3.SQLITE_LIMIT_SQL_LENGTH: 20_000,
    sqlite3.SQLITE_LIMIT_COLUMN: 100,
    sqlite3.SQLITE_LIMIT_EXPR_DEPTH: 50,
    sqlite3.SQLITE_LIMIT_ATTACHED: 0,
    sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH: 0,
    sqlite3.SQLITE_LIMIT_WORKER_THREADS: 0,
}

_STEPS_A_LOOK = 1_000_000  # some 20 ms: how often the steps are counted
_STEPS_FREE = 8_000_000  # a guess: what any statement of ours may take, whatever the size of its file
_STEPS_A_BYTE = 4
"""A row takes 10 bytes at the least and 20 steps at the most. Pages that are linked twice make a small file endless."""


class GuardedConnection(sqlite3.Connection):
    """Interrupts a statement that takes more steps than a sound file of that size could need."""

    _spent = 0
    _path = ""

    def guard(self, path: str, *, write: bool) -> None:
        """Set the limits; `path` is the file, for its size."""
        self._path = path
        for limit, most in _LIMITS.items():
            self.setlimit(limit, most)
        self.set_progress_handler(self._over, _STEPS_A_LOOK)
        pragmas = ["trusted_schema = OFF", "cell_size_check = ON", "mmap_size = 0", "temp_store = MEMORY"]
        for pragma in pragmas if write else [*pragmas, "query_only = ON"]:
            super().execute(f"PRAGMA {pragma}")

    def execute(self, sql: str, values: Sequence[Any] = (), /) -> sqlite3.Cursor:  # type: ignore[override]
        """As in `sqlite3`; every statement has the same to spend."""
        self._spent = 0
        return super().execute(sql, values)

    def rows(self, sql: str, *values: object, most: int) -> list[tuple[Any, ...]]:
        """Return what a query finds.

        Raises:
            ValueError: more than `most` rows, or more text than the file is long.
        """
        found: list[tuple[Any, ...]] = []
        room = self._size()
        for row in self.execute(sql, values):
            room -= sum(len(cell) for cell in row if isinstance(cell, str | bytes))
            if len(found) == most or room < 0:
                raise ValueError(f"more than the {most} rows that belong there")
            found.append(row)
        return found

    def _over(self) -> bool:
        self._spent += _STEPS_A_LOOK
        return self._spent > _STEPS_FREE + _STEPS_A_BYTE * self._size()

    def _size(self) -> int:
        """Bytes in the file and its log."""
        size = 0
        for name in (self._path, f"{self._path}-wal"):
            try:
                size += os.stat(name).st_size
            except OSError:  # no log; or the file is just gone, and open
                pass
        return size
