"""A channel's growing tail: rows until there are enough for a sealed chunk.

What seals imports numpy where it needs it: a recording begins, and its first readings are kept, without.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import TYPE_CHECKING

from meterlog.reading import Flag, Reading
from meterlog.series import Series
from meterlog.session.checks import Row, Span, chunk_crc, row_crc, span_crc
from meterlog.session.schema import CHUNK_READINGS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

_INSERT_ROW = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?, ?, ?)"
_INSERT_CHUNK = """INSERT INTO chunk (channel, first, count, start_us, end_us, minimum, maximum, flags, overloads,
    times, numbers, resolutions, flag_bits, time_errors, span_crc, crc)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"""

_MOST_ERROR_US = 2**32 - 1
"""The packed column holds u32: an hour and 11 minutes, beyond which a time says nothing anyway."""


class Tail:
    """A channel's unsealed readings, mirrored in memory and in the `reading` table. Every call belongs to an open
    transaction.

    Attributes:
        times_held: readings that came with a time before their predecessor's, and were given that one's.
    """

    def __init__(self, channel: int) -> None:
        self._channel = channel
        self._rows: list[Row] = []
        self._first = 0
        self._last_us = -(2**62)
        self.times_held = 0

    def append(self, connection: sqlite3.Connection, readings: Sequence[Reading], start_s: float) -> None:
        """Add readings whose times are on the monotonic clock; `start_s` is the session's start on it."""
        number = self._first + len(self._rows)
        rows = []
        for reading in readings:
            time_us = round((reading.time_s - start_s) * 1e6)
            if time_us < self._last_us:
                time_us = self._last_us
                self.times_held += 1
            self._last_us = time_us
            error_us = round(min(reading.time_error_s * 1e6, _MOST_ERROR_US))
            cells = (reading.value, reading.resolution, int(reading.flags), error_us)
            rows.append(Row(self._channel, number, time_us, *cells))
            number += 1
        self._add(connection, rows)

    def append_series(self, connection: sqlite3.Connection, series: Series) -> None:
        """Add readings whose times count from the session's start: sealed at once where they fill chunks."""
        import numpy as np

        time_us = np.rint(series.time_s * 1e6).astype(np.int64)
        time_us = np.maximum.accumulate(np.maximum(time_us, self._last_us))
        if not len(time_us):
            return
        self._last_us = int(time_us[-1])
        taken = 0
        if self._rows:
            taken = min(CHUNK_READINGS - len(self._rows), len(series))
            self._add(connection, self._as_rows(time_us[:taken], series[:taken]))
        while len(series) - taken >= CHUNK_READINGS:
            part = slice(taken, taken + CHUNK_READINGS)
            self._insert_chunk(connection, time_us[part], series[part])
            taken += CHUNK_READINGS
        self._add(connection, self._as_rows(time_us[taken:], series[taken:]))

    def seal(self, connection: sqlite3.Connection) -> None:
        """Make chunks of all that is left; the last may be short."""
        while self._rows:
            self._seal_rows(connection)

    def _add(self, connection: sqlite3.Connection, rows: list[Row]) -> None:
        if rows:
            connection.executemany(_INSERT_ROW, [(*row, row_crc(row)) for row in rows])
            self._rows += rows
        while len(self._rows) >= CHUNK_READINGS:
            self._seal_rows(connection)

    def _seal_rows(self, connection: sqlite3.Connection) -> None:
        rows = self._rows[:CHUNK_READINGS]
        connection.execute(
            "DELETE FROM reading WHERE channel = ? AND number < ?", (self._channel, self._first + len(rows))
        )
        insert_chunk(connection, self._channel, self._first, *arrays(rows))
        self._first += len(rows)
        del self._rows[: len(rows)]

    def _insert_chunk(self, connection: sqlite3.Connection, time_us: NDArray[np.int64], series: Series) -> None:
        insert_chunk(connection, self._channel, self._first, time_us, series)
        self._first += len(time_us)

    def _as_rows(self, time_us: NDArray[np.int64], series: Series) -> list[Row]:
        number = self._first + len(self._rows)
        columns = (time_us, series.value, series.resolution, series.flags, _microseconds(series.time_error_s))
        listed = zip(*(column.tolist() for column in columns), strict=True)
        return [Row(self._channel, number + i, *row) for i, row in enumerate(listed)]


def arrays(rows: Sequence[Row]) -> tuple[NDArray[np.int64], Series]:
    """Rows of one channel as their times, us, and a series that holds everything but these."""
    import numpy as np

    _, _, time_us, value, resolution, flags, error_us = zip(*rows, strict=True)
    columns = (np.array(value, "<f8"), np.array(resolution, "<f4"), np.array(flags, "<u2"))  # NULL becomes NaN
    errors_s = np.array(error_us, np.float64) / 1e6 if any(error_us) else np.zeros(())
    return np.array(time_us, np.int64), Series(np.empty(len(rows)), *columns, errors_s.astype(np.float32))


def insert_chunk(
    connection: sqlite3.Connection, channel: int, first: int, time_us: NDArray[np.int64], series: Series
) -> None:
    """Seal readings, at most `CHUNK_READINGS` of them; `first` is the number of the first, `series.time_s` unused."""
    import numpy as np

    from meterlog.session.codec import pack, pack_times

    finite = series.value[np.isfinite(series.value)]
    span = Span(
        channel,
        first,
        len(time_us),
        int(time_us[0]),
        int(time_us[-1]),
        float(finite.min()) if len(finite) else None,
        float(finite.max()) if len(finite) else None,
        int(np.bitwise_or.reduce(series.flags)),
        int(np.count_nonzero(series.flags & Flag.OVERLOAD)),
    )
    errors_us = _microseconds(series.time_error_s)
    columns = (
        pack_times(time_us),
        pack(series.value.astype("<f8", copy=False)),
        pack(series.resolution.astype("<f4", copy=False)),
        pack(series.flags.astype("<u2", copy=False)),
        pack(errors_us) if errors_us.any() else b"",
    )
    span_sum = span_crc(span)
    connection.execute(_INSERT_CHUNK, (*span, *columns, span_sum, chunk_crc(span_sum, columns)))


def _microseconds(error_s: NDArray[np.float32]) -> NDArray[np.uint32]:
    """Time errors as the file holds them."""
    import numpy as np

    one = error_s[:1] if not error_s.strides[0] else error_s  # a single number that stands for all
    whole = np.rint(np.minimum(one * np.float64(1e6), _MOST_ERROR_US)).astype(np.uint32)
    return np.broadcast_to(whole, error_s.shape)
