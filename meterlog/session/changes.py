"""A change of a session that is there: markers and corrections."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from meterlog.errors import SessionWriteFailed, UsageError
from meterlog.session.database import check_header, check_tables, connect, write_errors
from meterlog.session.lost_log import is_log_lost, where_the_log_is


@contextmanager
def changing(path: Path) -> Iterator[sqlite3.Connection]:
    """A transaction on a session, running or finished, committed at the end; undone when an error passes.

    Raises:
        UsageError: a number that none of a session can be.
        SessionError: the file cannot be read or written, or its log was left behind: a change would spoil that.
    """
    check_header(path)
    if is_log_lost(path):
        raise SessionWriteFailed(where_the_log_is(path), str(path))
    with write_errors(path):
        connection = connect(path, write=True)
        try:
            connection.execute("BEGIN IMMEDIATE")
            check_tables(connection, path)
            yield connection
            connection.execute("COMMIT")
        except OverflowError:  # of SQLite's integers
            raise UsageError(f"'{path}' holds nothing of so large a number") from None
        finally:
            connection.close()
