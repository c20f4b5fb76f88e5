"""Does what a stranger may do to a session before handing it on, check sums forged where there are any."""

from __future__ import annotations

import os
import sqlite3
import struct
import zlib
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from meterlog.session.checks import chunk_crc, row_crc, span_crc

Attack = Callable[[Path, Path], None]
"""Changes the session; the second file is one elsewhere, to aim at."""

_MAGIC = bytes.fromhex("d9d505f920a163d7")
_ENDLESS = "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i FROM n"


def sql(*statements: str) -> Attack:
    """Statements, then every check sum made right again."""

    def attack(path: Path, _: Path) -> None:
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            connection.execute("PRAGMA journal_mode = OFF")
            connection.execute("BEGIN")
            for statement in statements:
                connection.execute(statement)
            forge(connection)
            connection.execute("COMMIT")

    return attack


def forge(connection: sqlite3.Connection) -> None:
    """Make every check sum right that can be."""
    tables = [name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
    if "chunk" in tables:
        columns = "channel, first, count, start_us, end_us, minimum, maximum, flags, overloads"
        packed = "times, numbers, resolutions, flag_bits, time_errors"
        for number, *cells in connection.execute(f"SELECT id, {columns}, {packed} FROM chunk").fetchall():
            try:
                span = span_crc(tuple(cells[:9]))
                sums = (span, chunk_crc(span, tuple(cells[9:])))
            except (struct.error, TypeError):
                continue
            connection.execute("UPDATE chunk SET span_crc = ?, crc = ? WHERE id = ?", (*sums, number))
    if "reading" in tables:
        for cells in connection.execute(
            "SELECT channel, number, time_us, value, resolution, flags, time_error_us FROM reading"
        ).fetchall():
            try:
                crc = row_crc(cells)
            except (struct.error, TypeError):
                continue
            connection.execute("UPDATE reading SET crc = ? WHERE channel = ? AND number = ?", (crc, *cells[:2]))


def reading(number: int, time_us: int | str, value: str, flags: int = 0, error_us: int = 0) -> Attack:
    """One more reading, in the tail."""
    return sql(f"INSERT INTO reading VALUES (1, {number}, {time_us}, {value}, 0.01, {flags}, {error_us}, 0)")


def bomb(column: str, layout: int, size: int, kinds: int) -> Attack:
    """A packed column that inflates to 2 GB."""

    def attack(path: Path, other: Path) -> None:
        stream = zlib.compressobj(9)
        block = bytes(2**24)
        body = b"".join(stream.compress(block) for _ in range(128)) + stream.flush()
        packed = struct.pack("<BBH", size, layout, kinds) + body
        with closing(sqlite3.connect(path, isolation_level=None)) as connection:
            connection.execute(f"UPDATE chunk SET {column} = ? WHERE first = 0", (packed[: 2**21 - 20_000],))
        sql()(path, other)

    return attack


def beside(name: str, how: str) -> Attack:
    """Something of that name beside the session that says it is growing."""

    def attack(path: Path, canary: Path) -> None:
        sql("UPDATE recording SET ended = 'growing'")(path, canary)
        place = path.with_name(f"{path.name}-{name}")
        if how == "link":
            place.symlink_to(canary)
        elif how == "dangling link":
            place.symlink_to(canary.with_name("new.txt"))
        elif how == "hard link":
            os.link(canary, place)
        elif how == "pipe":
            os.mkfifo(place)
        elif how == "folder":
            place.mkdir()
        else:
            place.write_bytes(b"\xff" * 100_000)

    return attack


def journal(*, pages: int | None, aimed: bool) -> Attack:
    """A rollback journal: of a huge file, or one that names the canary as the common journal of several databases."""

    def attack(path: Path, canary: Path) -> None:
        content = path.read_bytes()
        check = (1 + sum(content[i] for i in range(4096 - 200, 0, -200))) & 0xFFFFFFFF
        size = len(content) // 4096 if pages is None else pages
        head = struct.pack(">8sIIIII", _MAGIC, 1, 1, size, 512, 4096).ljust(512, b"\0")
        name = str(canary).encode()
        end = struct.pack(">I", 0x40000000 // 4096 + 1) + name + struct.pack(">II", len(name), sum(name)) + _MAGIC
        body = struct.pack(">I", 1) + content[:4096] + struct.pack(">I", check)
        path.with_name(f"{path.name}-journal").write_bytes(head + body + (end if aimed else b""))

    return attack


def instead(how: str) -> Attack:
    """The session's own name is something else."""

    def attack(path: Path, canary: Path) -> None:
        content = path.read_bytes()
        path.unlink()
        if how == "link":
            path.symlink_to(canary)
        elif how == "link to a session":
            path.with_name("elsewhere").write_bytes(content)
            path.symlink_to(path.with_name("elsewhere"))
        elif how == "pipe":
            os.mkfifo(path)
        else:
            path.symlink_to("/dev/zero")

    return attack


def page(at: int, content: bytes) -> Attack:
    """Bytes of the file's header changed."""

    def attack(path: Path, _: Path) -> None:
        data = bytearray(path.read_bytes())
        data[at : at + len(content)] = content
        path.write_bytes(data)

    return attack


def circle(table: str) -> Attack:
    """A table whose interior page has itself for children."""

    def attack(path: Path, other: Path) -> None:
        many = f"SELECT i FROM ({_ENDLESS} LIMIT 5000)"
        fill = {
            "detail": f"INSERT INTO detail SELECT 'k' || i, hex(zeroblob(50)) FROM ({many})",
            "marker": f"INSERT INTO marker (time_us, name, note, by) SELECT i, hex(zeroblob(50)), '', '' FROM ({many})",
            "reading": f"INSERT INTO reading SELECT 1, 9000 + i, 1e9, 1.0, 0.1, 0, 0, 0 FROM ({many})",
        }
        sql(fill[table])(path, other)
        with closing(sqlite3.connect(path)) as connection:
            (root,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = ?", (table,)).fetchone()
        data = bytearray(path.read_bytes())
        at = (root - 1) * 4096
        (cells,) = struct.unpack_from(">H", data, at + 3)
        for pointer in struct.unpack_from(f">{cells}H", data, at + 12):
            struct.pack_into(">I", data, at + pointer, root)
        struct.pack_into(">I", data, at + 8, root)
        path.write_bytes(data)

    return attack


def many(table: str, count: int) -> Attack:
    """Rows without end."""
    numbers = f"SELECT i FROM ({_ENDLESS} LIMIT {count})"
    rows = {
        "channel": "SELECT i + 10, 'c' || i, 'dc_voltage', 'V', '', '', '', 0.005, 2.0, NULL, 0",
        "marker": "SELECT i + 10, i, 'm' || i, '', 'person'",
        "link_change": "SELECT i + 10, i, 1, 'meter', i % 2, 'cause'",
        "detail": "SELECT 'k' || i, 'v' || i",
        "reading": "SELECT 1, 5000 + i, 1000000000 + i, 1.0, 0.01, 0, 0, 0",
    }
    return sql(f"INSERT INTO {table} {rows[table]} FROM ({numbers})")


_FIRST = "WHERE first = 0"

HOSTILE: dict[str, Attack] = {
    "a journal that names a file elsewhere": journal(pages=None, aimed=True),
    "a journal of a file of terabytes": journal(pages=2**31, aimed=False),
    "a journal of this very file": journal(pages=None, aimed=False),
    **{
        f"{how} as {name}": beside(name, how)
        for name in ("journal", "wal", "shm", "recorder")
        for how in ("link", "dangling link", "hard link", "pipe", "folder", "noise")
    },
    **{f"the session is a {how}": instead(how) for how in ("link", "link to a session", "pipe", "link to a device")},
    "a trigger on markers": sql("CREATE TRIGGER evil AFTER INSERT ON marker BEGIN DELETE FROM chunk; END"),
    "a trigger on details": sql("CREATE TRIGGER evil AFTER INSERT ON detail BEGIN DELETE FROM chunk; END"),
    "an endless view": sql(f"CREATE VIEW evil AS {_ENDLESS}"),
    "an endless view for a table": sql(
        "DROP TABLE detail", f"CREATE VIEW detail AS SELECT i AS key, i AS value FROM ({_ENDLESS})"
    ),
    "an endless view for the recording": sql(
        "DROP TABLE recording",
        f"CREATE VIEW recording AS SELECT i AS started_at, i AS ended, i AS monotonic_start_s FROM ({_ENDLESS})",
    ),
    "a generated column": sql("ALTER TABLE marker ADD COLUMN evil AS (hex(zeroblob(1000000000)))"),
    "a foreign table": sql("CREATE VIRTUAL TABLE evil USING fts5(x)"),
    "an index more": sql("CREATE INDEX evil ON chunk (hex(zeroblob(100)))"),
    "a table more": sql("CREATE TABLE evil (x)"),
    "a table less": sql("DROP TABLE link_change"),
    "a later version": sql("PRAGMA user_version = 99"),
    "an earlier version": sql("PRAGMA user_version = 1"),
    "version -1": sql("PRAGMA user_version = -1"),
    "a log promised in the header": page(18, b"\2\2"),
    "a file format of the future": page(18, b"\7\7"),
    "a page size of 512": page(16, b"\2\0"),
    "UTF-16": page(56, struct.pack(">I", 2)),
    "a free list that never ends": page(32, struct.pack(">II", 3, 2**31)),
    **{f"a circle of pages in {table}": circle(table) for table in ("detail", "marker", "reading")},
    "100,000 channels": many("channel", 100_000),
    "900 channels": many("channel", 900),
    "300,000 markers": many("marker", 300_000),
    "90,000 markers": many("marker", 90_000),
    "300,000 link changes": many("link_change", 300_000),
    "90,000 link changes": many("link_change", 90_000),
    "100,000 details": many("detail", 100_000),
    "100,000 unsealed readings": many("reading", 100_000),
    **{
        f"{column} of 2 GB, layout {layout}": bomb(column, layout, 8, kinds)
        for column, layout, kinds in (
            ("numbers", 255, 0),
            ("numbers", 1, 256),
            ("times", 255, 0),
            ("resolutions", 0, 1),
        )
    },
    "a column of another layout": sql(
        f"UPDATE chunk SET numbers = CAST(x'08090001' || substr(numbers, 5) AS BLOB) {_FIRST}"
    ),
    "an item size of 200": sql(f"UPDATE chunk SET numbers = CAST(x'c8ff0000' || substr(numbers, 5) AS BLOB) {_FIRST}"),
    "a count of 2 billion": sql(f"UPDATE chunk SET count = 2000000000 {_FIRST}"),
    "a negative count": sql(f"UPDATE chunk SET count = -1 {_FIRST}"),
    "a chunk at 2**60": sql(f"UPDATE chunk SET first = {2**60} {_FIRST}"),
    "a chunk at -5": sql(f"UPDATE chunk SET first = -5 {_FIRST}"),
    "two chunks over each other": sql("UPDATE chunk SET first = 5 WHERE first = 4096"),
    "a start in another age": sql(f"UPDATE chunk SET start_us = {2**62} {_FIRST}"),
    "an end in another age": sql(f"UPDATE chunk SET end_us = {2**62} {_FIRST}"),
    "extremes that are none": sql("UPDATE chunk SET minimum = 1e308, maximum = -1e308"),
    "an accuracy of 1e308": sql("UPDATE channel SET accuracy_share = 1e308"),
    "counts of infinity": sql("UPDATE channel SET accuracy_counts = 9e999"),
    "an interval of 1e300": sql("UPDATE channel SET interval_s = 1e300"),
    "an interval of 1e-300": sql("UPDATE channel SET interval_s = 1e-300"),
    "rejected frames beyond counting": sql(f"UPDATE channel SET rejected = {2**62}"),
    "a channel of number -1": sql("UPDATE channel SET number = -1"),
    "a date in the year 1": sql("UPDATE recording SET started_at = '0001-01-01T00:00:00+14:00'"),
    "a date in the year 9999": sql("UPDATE recording SET started_at = '9999-12-31T23:59:59-14:00'"),
    "a clock that is a text": sql("UPDATE recording SET monotonic_start_s = 'noon'"),
    "a label of 1 MB": sql("UPDATE channel SET label = hex(zeroblob(500000))"),
    "a label with a forged line": sql(
        "UPDATE channel SET label = 'a' || char(10) || 'meterlog: all is well' || char(27) || '[2J'"
    ),
    "a note of 1 GB": sql("UPDATE marker SET note = zeroblob(3000000)"),
    "a time of 1e18": reading(5000, 10**18, "1.0"),
    "a time that goes back": reading(5000, -5, "1.0"),
    "a reading in a hundred years": reading(5000, 100 * 365 * 86400 * 10**6, "1.0"),
    "a value of 1e308": reading(5000, 10**9, "1e308"),
    "a value of -1e308 and flags": reading(5000, 10**9, "-1e308", 65535),
    "a time error of an hour": reading(5000, 10**9, "1.0", 0, 2**32 - 1),
    "a time error of years": reading(5000, 10**9, "1.0", 0, 2**60),
    "an end that is markup": sql("UPDATE recording SET ended = '<script>alert(1)</script>'"),
}
