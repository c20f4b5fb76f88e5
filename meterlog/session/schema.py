"""The session file's tables, as numbered migrations; each is recorded in the transaction that makes it.

A new file takes them all. One that an earlier version made keeps its format for good: check sums made later would
vouch for readings that nobody checked, and a file that only is read is never written.
"""

from __future__ import annotations

import sqlite3
from typing import NamedTuple

APPLICATION_ID = 0x4D544C47
"""`MTLG`, in the SQLite header at offset 68: tells a session from any other SQLite file."""

CHUNK_READINGS = 4096
"""Readings in a sealed chunk; the last one of a channel may be shorter."""


class Migration(NamedTuple):
    """One step from a version of the tables to the next."""

    number: int
    summary: str
    statements: tuple[str, ...]


MIGRATIONS: tuple[Migration, ...] = (
    Migration(
        1,
        "recording, details, channels, readings and their chunks, markers, link changes",
        (
            """CREATE TABLE migration (
                number INTEGER PRIMARY KEY, summary TEXT NOT NULL, applied_at TEXT NOT NULL)""",
            """CREATE TABLE recording (
                id INTEGER PRIMARY KEY CHECK (id = 1),
                started_at TEXT NOT NULL,             -- ISO 8601 with the offset from UTC
                monotonic_start_s REAL NOT NULL,      -- the recording host's monotonic clock at time 0
                ended TEXT NOT NULL,                  -- growing, clean, hard
                program TEXT NOT NULL)""",
            "CREATE TABLE detail (key TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID",
            """CREATE TABLE channel (
                number INTEGER PRIMARY KEY,
                label TEXT NOT NULL, quantity TEXT NOT NULL, unit TEXT NOT NULL, point TEXT NOT NULL,
                address TEXT NOT NULL, driver TEXT NOT NULL,
                accuracy_share REAL NOT NULL, accuracy_counts REAL NOT NULL, interval_s REAL)""",
            # No declared type for value: SQLite would store -0.0 as 0 in a REAL column.
            """CREATE TABLE reading (
                channel INTEGER NOT NULL, number INTEGER NOT NULL,   -- counted from 0 within the channel
                time_us INTEGER NOT NULL, value, resolution REAL, flags INTEGER NOT NULL,
                PRIMARY KEY (channel, number)) WITHOUT ROWID""",
            """CREATE TABLE chunk (
                id INTEGER PRIMARY KEY,
                channel INTEGER NOT NULL,
                first INTEGER NOT NULL,               -- number of its first reading within the channel
                count INTEGER NOT NULL,
                start_us INTEGER NOT NULL, end_us INTEGER NOT NULL,
                minimum REAL, maximum REAL,           -- over the finite values; NULL where there are none
                flags INTEGER NOT NULL,               -- every bit that occurs
                overloads INTEGER NOT NULL,           -- readings with the overload flag
                times BLOB NOT NULL, numbers BLOB NOT NULL, resolutions BLOB NOT NULL, flag_bits BLOB NOT NULL)""",
            "CREATE UNIQUE INDEX chunk_span ON chunk (channel, first, count, start_us, end_us)",
            """CREATE TABLE marker (
                number INTEGER PRIMARY KEY AUTOINCREMENT,
                time_us INTEGER NOT NULL, name TEXT NOT NULL, note TEXT NOT NULL, by TEXT NOT NULL)""",
            """CREATE TABLE link_change (
                id INTEGER PRIMARY KEY,
                time_us INTEGER NOT NULL, channel INTEGER,
                meter TEXT NOT NULL, up INTEGER NOT NULL, cause TEXT NOT NULL)""",
        ),
    ),
    Migration(
        2,
        "uncertain times, rejected frames, check sums",
        (
            "ALTER TABLE reading ADD COLUMN time_error_us INTEGER NOT NULL DEFAULT 0",
            "ALTER TABLE reading ADD COLUMN crc INTEGER",
            # Packed as the other columns; no bytes where all are 0.
            "ALTER TABLE chunk ADD COLUMN time_errors BLOB NOT NULL DEFAULT x''",
            "ALTER TABLE chunk ADD COLUMN span_crc INTEGER",
            "ALTER TABLE chunk ADD COLUMN crc INTEGER",
            "ALTER TABLE channel ADD COLUMN rejected INTEGER NOT NULL DEFAULT 0",
        ),
    ),
)

LATEST = MIGRATIONS[-1].number


def make_tables(connection: sqlite3.Connection, version: int = LATEST) -> None:
    """Make the tables of a version, in the transaction that is open: a new file is whole or empty."""
    for step in MIGRATIONS[:version]:
        _take_step(connection, step)


def _take_step(connection: sqlite3.Connection, step: Migration) -> None:
    for statement in step.statements:
        connection.execute(statement)
    connection.execute("INSERT INTO migration VALUES (?, ?, strftime('%Y-%m-%dT%H:%M:%SZ', 'now'))", step[:2])
    connection.execute(f"PRAGMA user_version = {step.number}")
