"""Reads a session: finished, crashed or still growing."""

from __future__ import annotations

import math
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

import numpy as np

from meterlog.display_check import noted_check, noted_conversion, noted_fixed_error
from meterlog.errors import EmptySession, SessionBusy, UsageError
from meterlog.reading import Accuracy, Quantity
from meterlog.roles import entered_role
from meterlog.series import Series
from meterlog.session.cells import (
    LONGEST_INTERVAL_S,
    MOST_CHANNELS,
    MOST_COUNTS,
    MOST_FIXED,
    MOST_ROWS,
    MOST_SHARE,
    amount,
    finite,
    moment,
    seconds,
    text,
    whole,
)
from meterlog.session.database import check_header, not_begun, open_to_read, read_errors
from meterlog.session.defences import GuardedConnection
from meterlog.session.lock import is_recording
from meterlog.session.log_check import is_log_damaged
from meterlog.session.lost_log import is_log_lost, where_the_log_is
from meterlog.session.model import HARD_END, Channel, LinkChange, Marker, Overview
from meterlog.session.overview import Buckets
from meterlog.session.recovery import settle
from meterlog.session.schema import CHUNK_READINGS
from meterlog.session.stored import Stored, joined

Ended = Literal["clean", "hard", "growing"]

BEGIN_PATIENCE_S = 1.0
"""Time a reader waits for a recorder that is just making the file."""

_EVER_US = 2**62
_MOST_CHUNKS = 2**20
"""Of a channel: 4 billion readings, 13 years at ten a second."""

_IN_WINDOW = "WHERE channel = ? AND end_us >= ? AND start_us <= ? ORDER BY first"


def open_reader(path: Path | str) -> SessionReader:
    """Open a session for reading; a crashed one is recovered first.

    Raises:
        NotASession: absent, something else, or damaged.
        SessionBusy: its recorder has not begun it after a second, or another program holds it.
        NewerSession: written by a later version.
    """
    give_up_s = time.monotonic() + BEGIN_PATIENCE_S
    while True:
        try:
            return SessionReader(Path(path))
        except SessionBusy:
            if time.monotonic() > give_up_s:
                raise
            time.sleep(0.02)


class SessionReader:
    """A session, open for reading. Usable from any thread; every call sees the newest committed state.

    A call holds the file for as long as its rows are fetched and no longer, so that a recorder's write-ahead log
    stays small.

    Attributes:
        path: the session file.
        started_at: the session's time 0 on the wall clock, with its offset from UTC.
    """

    def __init__(self, path: Path) -> None:
        """See `open_reader`."""
        self.path = path
        self._lock = threading.Lock()
        logged = check_header(path)
        settle(path)
        self._log_lost = is_log_lost(path)
        # What could not be brought to rest is read with its log.
        self._log_damaged = not is_recording(path) and is_log_damaged(path.with_name(f"{path.name}-wal"))
        with read_errors(path):
            self._connection, version = open_to_read(path, logged=logged)
            self._stored = Stored(version)
            try:
                row = self._connection.execute("SELECT started_at FROM recording").fetchone()
                if row is None:
                    raise not_begun(path)
                self.started_at: datetime = moment(row[0])
            except BaseException:
                self._connection.close()
                raise

    def close(self) -> None:
        """Close the file. Safe to call twice."""
        self._connection.close()
        settle(self.path)

    def __enter__(self) -> SessionReader:
        return self

    def __exit__(self, _: type[BaseException] | None, __: BaseException | None, ___: TracebackType | None) -> None:
        self.close()

    @contextmanager
    def _snapshot(self) -> Iterator[GuardedConnection]:
        """One consistent state of the file for several statements."""
        with self._lock, read_errors(self.path):
            self._connection.execute("BEGIN")
            try:
                yield self._connection
            finally:
                self._connection.execute("COMMIT")

    def _rows(self, sql: str, *values: object, most: int = 1) -> list[tuple[Any, ...]]:
        with self._lock, read_errors(self.path):
            return self._connection.rows(sql, *values, most=most)

    @property
    def ended(self) -> Ended:
        """`clean`, `hard` (the recorder was killed or the disk failed), or `growing`."""
        ((ended,),) = self._rows("SELECT ended FROM recording")
        if ended != "growing":
            return "clean" if ended == "clean" else "hard"
        if is_recording(self.path):
            return "growing"
        ((again,),) = self._rows("SELECT ended FROM recording")  # it may have ended between the two looks
        return "clean" if again == "clean" else "hard"

    @property
    def end_note(self) -> str:
        """A sentence about an end that was not orderly; '' where there is nothing to say."""
        if self._log_lost:
            return where_the_log_is(self.path)
        return HARD_END if self.ended == "hard" else ""

    @property
    def notes(self) -> tuple[str, ...]:
        """Sentences about a hard end or damage; asked after the readings, they count what was left out of those."""
        damage = self.damage
        # Of a damaged session nobody may say that all that was saved is here.
        end = "" if damage and not self._log_lost else self.end_note
        return tuple(filter(None, (end, damage)))

    @property
    def monotonic_start_s(self) -> float:
        """The session's time 0 on the recording host's `time.monotonic()`, s."""
        ((start_s,),) = self._rows("SELECT monotonic_start_s FROM recording")
        with read_errors(self.path):
            return finite(start_s)

    @property
    def details(self) -> dict[str, str]:
        """Return what was entered about the case: `vehicle`, `complaint`, `point`, ..."""
        rows = self._rows("SELECT key, value FROM detail ORDER BY key", most=MOST_CHANNELS)
        with read_errors(self.path):
            return {text(key): text(value) for key, value in rows}

    @property
    def channels(self) -> list[Channel]:
        """The channels, by number."""
        details = self.details
        columns = "number, label, quantity, point, address, driver, accuracy_share, accuracy_counts, interval_s"
        rows = self._rows(
            f"SELECT {columns}, {self._stored.columns.rejected} FROM channel ORDER BY number", most=MOST_CHANNELS
        )
        with read_errors(self.path):
            return [
                Channel(
                    whole(number),
                    text(label),
                    Quantity(quantity),
                    text(point),
                    text(address),
                    text(driver),
                    Accuracy(
                        amount(share, MOST_SHARE),
                        amount(counts, MOST_COUNTS),
                        amount(noted_fixed_error(details, number), MOST_FIXED),
                    ),
                    None if interval_s is None else amount(interval_s, LONGEST_INTERVAL_S),
                    role=entered_role(details, number),
                    rejected=whole(rejected),
                    checked=noted_check(details, number),
                    converted=noted_conversion(details, number),
                )
                for number, label, quantity, point, address, driver, share, counts, interval_s, rejected in rows
            ]

    @property
    def markers(self) -> list[Marker]:
        """The markers, by time."""
        sql = "SELECT number, time_us, name, note, by FROM marker ORDER BY time_us, number"
        rows = self._rows(sql, most=2 * MOST_ROWS)  # the recorder's and those from elsewhere
        with read_errors(self.path):
            return [Marker(whole(number), seconds(time_us), *map(text, texts)) for number, time_us, *texts in rows]

    @property
    def link_changes(self) -> list[LinkChange]:
        """Every coming and going of the links to the meters, in order."""
        sql = "SELECT time_us, channel, meter, up, cause FROM link_change ORDER BY time_us, id"
        rows = self._rows(sql, most=MOST_ROWS)
        with read_errors(self.path):
            return [
                LinkChange(
                    seconds(time_us), None if channel is None else whole(channel), text(meter), bool(up), text(cause)
                )
                for time_us, channel, meter, up, cause in rows
            ]

    @property
    def duration_s(self) -> float:
        """Time of the last reading, marker or link change, s from the start; 0 where there is none."""
        ((end_us,),) = self._rows(
            "SELECT max(0, (SELECT ifnull(max(end_us), 0) FROM chunk), (SELECT ifnull(max(time_us), 0) FROM reading),"
            " (SELECT ifnull(max(time_us), 0) FROM marker), (SELECT ifnull(max(time_us), 0) FROM link_change))"
        )
        with read_errors(self.path):
            return seconds(end_us)

    def count(self, channel: int) -> int:
        """The number of readings of a channel.

        Raises:
            UsageError: there is no such channel.
        """
        self._check_channel(channel)
        ((count,),) = self._rows(
            "SELECT (SELECT ifnull(sum(count), 0) FROM chunk WHERE channel = ?)"
            " + (SELECT ifnull(sum(1), 0) FROM reading WHERE channel = ?)",
            channel,
            channel,
        )
        with read_errors(self.path):
            return whole(count)

    @property
    def lost(self) -> int:
        """Count the readings left out of what was read so far, since they are not as they were written."""
        return sum(lost.readings for lost in self._stored.lost)

    @property
    def damage(self) -> str:
        """Return a sentence about what was recorded and cannot be read; empty where there is none."""
        words = [f"{self.lost} of its readings are left out"] if self.lost else []
        if self._log_damaged or self._rows("SELECT ended FROM recording") == [("damaged",)]:
            words.append("its log was damaged, so that its last readings, and perhaps more, are lost")
        return f"'{self.path}' is damaged: {'; '.join(words)}." if words else ""

    def need_readings(self) -> None:
        """Refuse a session that holds none.

        Raises:
            EmptySession: no channel has a reading.
        """
        ((some,),) = self._rows(
            "SELECT EXISTS (SELECT 1 FROM channel WHERE number IN (SELECT channel FROM chunk)"
            " OR number IN (SELECT channel FROM reading))"
        )
        if not some:
            why = f": {where_the_log_is(self.path)}" if self._log_lost else ""
            raise EmptySession(f"'{self.path}' holds no readings{why}", str(self.path))

    def series(self, channel: int, start_s: float | None = None, end_s: float | None = None) -> Series:
        """The readings of a channel with start_s <= time <= end_s; all of them by default.

        Raises:
            UsageError: there is no such channel.
            NotASession: the file is damaged.
        """
        self._check_channel(channel)
        low, high = _window_us(start_s, end_s)
        columns = self._stored.columns
        with self._snapshot() as connection:
            if start_s is None and end_s is None:
                chunks = connection.rows(
                    f"SELECT {columns.chunk} FROM chunk WHERE channel = ? ORDER BY first", channel, most=_MOST_CHUNKS
                )
            else:
                chunks = connection.rows(
                    f"SELECT {columns.chunk} FROM chunk {_IN_WINDOW}", channel, low, high, most=_MOST_CHUNKS
                )
            rows = self._tail_window(connection, channel, low, high)
        with read_errors(self.path):
            chunks, rows = self._stored.sound_chunks(chunks), self._stored.sound_rows(rows)
            whole = joined(chunks, rows)
            if start_s is None and end_s is None:
                self._stored.note_gaps(channel, chunks, rows)
                if self.lost and not len(whole):
                    raise ValueError(f"none of the readings of channel {channel} is as it was written")
                return whole
        return whole.between(-math.inf if start_s is None else start_s, math.inf if end_s is None else end_s)

    def _tail_window(self, connection: GuardedConnection, channel: int, low: int, high: int) -> list[tuple[Any, ...]]:
        return connection.rows(
            f"SELECT {self._stored.columns.reading} FROM reading"
            " WHERE channel = ? AND time_us >= ? AND time_us <= ? ORDER BY number",
            channel,
            low,
            high,
            most=CHUNK_READINGS,
        )

    def blocks(self, channel: int) -> Iterator[Series]:
        """The readings of a channel, chunk by chunk: for whoever must not hold them all."""
        cursor, before = 0, -1
        while cursor > before:
            before = cursor
            block, cursor = self._after(channel, cursor, limit=1)
            if len(block):
                yield block

    def follow(self, channel: int, cursor: int = 0, *, chunks: int = -1) -> tuple[Series, int]:
        """The readings that came after a cursor, and the cursor after them; 0 is before the first.

        Args:
            channel: its number.
            cursor: what the last call returned.
            chunks: so many at a time bound the memory; all at once without.
        """
        return self._after(channel, cursor, limit=chunks)

    def _after(self, channel: int, cursor: int, limit: int) -> tuple[Series, int]:
        self._check_channel(channel)
        columns = self._stored.columns
        with self._snapshot() as connection:
            chunks = connection.rows(
                f"SELECT {columns.chunk} FROM chunk WHERE channel = ? AND first + count > ? ORDER BY first LIMIT ?",
                channel,
                cursor,
                limit,
                most=_MOST_CHUNKS,
            )
            rows = []
            if limit < 0 or not chunks:
                rows = connection.rows(
                    f"SELECT {columns.reading} FROM reading WHERE channel = ? AND number >= ? ORDER BY number",
                    channel,
                    cursor,
                    most=CHUNK_READINGS,
                )
        with read_errors(self.path):
            ends = [int(first + count) for _, first, count, *_ in chunks] + [int(row[1]) + 1 for row in rows]
            sound = self._stored.sound_chunks(chunks)
            found = joined(sound, self._stored.sound_rows(rows))
        if sound and sound[0] is chunks[0]:  # its first readings may have been told as rows
            found = found[max(cursor - sound[0][1], 0) :]
        return found, max([cursor, *ends])

    def overview(self, channel: int, start_s: float, end_s: float, buckets: int) -> Overview:
        """A channel in equal buckets of time, from the chunks' statistics wherever a chunk lies within one bucket.

        At most one chunk a bucket's edge is decoded, so the time depends on the buckets, not on the readings.

        Raises:
            UsageError: there is no such channel, or the window or the number of buckets is not positive.
        """
        self._check_channel(channel)
        if buckets < 1 or not end_s > start_s:
            raise UsageError("an overview wants at least one bucket and an end after its start")
        low, high = _window_us(start_s, end_s)
        result = Buckets(start_s, end_s, buckets)
        columns = self._stored.columns
        with self._snapshot() as connection:
            found = connection.rows(
                f"SELECT {columns.span} FROM chunk {_IN_WINDOW}", channel, low, high, most=_MOST_CHUNKS
            )
            spans = self._stored.sound_spans(found)
            bounds_s = np.array([span[3:5] for span in spans], np.int64).reshape(-1, 2) / 1e6
            places = result.holding(bounds_s[:, 0], bounds_s[:, 1]).tolist()
            sql = f"SELECT {columns.chunk} FROM chunk WHERE channel = ? AND first = ?"
            straddling = [
                chunk
                for span, place in zip(spans, places, strict=True)
                if place < 0
                for chunk in connection.rows(sql, channel, span[1], most=1)
            ]
            rows = self._tail_window(connection, channel, low, high)
        with read_errors(self.path):
            for (_, _, count, _, _, minimum, maximum, flags, *_), place in zip(spans, places, strict=True):
                if place >= 0:
                    result.add_span(place, count, minimum, maximum, flags)
            result.add(joined(self._stored.sound_chunks(straddling), self._stored.sound_rows(rows)))
        return result.overview()

    def _check_channel(self, channel: int) -> None:
        numbers = [number for (number,) in self._rows("SELECT number FROM channel ORDER BY number", most=MOST_CHANNELS)]
        if channel not in numbers:
            known = ", ".join(map(str, numbers)) or "none yet"
            raise UsageError(f"there is no channel {channel} in '{self.path}'; its channels are {known}")


def _window_us(start_s: float | None, end_s: float | None) -> tuple[int, int]:
    """A window in microseconds, a little wide: the exact cut is made on the times in seconds."""
    low = -_EVER_US if start_s is None or start_s == -math.inf else math.floor(start_s * 1e6) - 1
    high = _EVER_US if end_s is None or end_s == math.inf else math.ceil(end_s * 1e6) + 1
    return low, high
