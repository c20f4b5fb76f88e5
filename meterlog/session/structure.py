"""Compares a file's tables with those that our migrations make: a stranger's trigger or view is never reached."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from functools import cache
from pathlib import Path

from meterlog.errors import NotASession
from meterlog.session.schema import make_tables

_OBJECTS = "SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY type, name LIMIT ?"
_Objects = tuple[tuple[object, ...], ...]


def check_structure(connection: sqlite3.Connection, path: Path, version: int) -> None:
    """Refuse a file that defines anything but exactly the tables of its format: nothing in it may be run.

    Reads `sqlite_master` and nothing else, so call it before the first statement on any other table.

    Raises:
        NotASession: a table is missing, differs, or there is something more.
    """
    expected = _made_by_us(version)
    found = tuple(connection.execute(_OBJECTS, (len(expected) + 1,)).fetchall())
    if found == expected:
        return
    strange = next((one for one in found if one not in expected), None)
    if strange is None:
        lacking = next((one[1] for one in expected if one not in found), "table")
        raise NotASession(f"'{path}' is not a whole session: its {lacking} is missing", str(path))
    kind, name = (" ".join(str(word).split())[:40] for word in strange[:2])
    raise NotASession(
        f"'{path}' is not opened: its {kind} '{name}' is none that meterlog makes, and nothing in a session is run",
        str(path),
    )


@cache
def _made_by_us(version: int) -> _Objects:
    with closing(sqlite3.connect(":memory:")) as memory:
        make_tables(memory, version)
        return tuple(memory.execute(_OBJECTS, (1000,)).fetchall())
