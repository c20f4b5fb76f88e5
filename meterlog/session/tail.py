"""A channel's growing tail: rows until there are enough for a sealed chunk.

What seals imports numpy where it needs it: a recording begins, and its first readings are kept, without.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from meterlog.reading import Flag, Reading
from meterlog.series import Series
from meterlog.session.schema import CHUNK_READINGS

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray


class Row(NamedTuple):
    """A reading as it lies in the table `reading`."""

    channel: int
    number: int
    time_us: int
    value: float
    resolution: float | None
    flags: int


_INSERT_ROW = "INSERT INTO reading VALUES (?, ?, ?, ?, ?, ?)"
_INSERT_CHUNK = """INSERT INTO chunk (channel, first, count, start_us, end_us, minimum, maximum, flags, overloads,
    times, numbers, resolutions, flag_bits) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"""


class Tail:
    """What of a channel is not sealed yet, in memory as in the table. Every call belongs to an open transaction.

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
            rows.append(Row(self._channel, number, time_us, reading.value, reading.resolution, int(reading.flags)))
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
            connection.executemany(_INSERT_ROW, rows)
            self._rows += rows
        while len(self._rows) >= CHUNK_READINGS:
            self._seal_rows(connection)

    def _seal_rows(self, connection: sqlite3.Connection) -> None:
        import numpy as np

        rows = self._rows[:CHUNK_READINGS]
        _, _, time_us, value, resolution, flags = zip(*rows, strict=True)
        connection.execute(
            "DELETE FROM reading WHERE channel = ? AND number < ?", (self._channel, self._first + len(rows))
        )
        series = Series(np.empty(0), np.array(value, "<f8"), np.array(resolution, "<f4"), np.array(flags, "<u2"))
        self._insert_chunk(connection, np.array(time_us, np.int64), series)
        del self._rows[: len(rows)]

    def _insert_chunk(self, connection: sqlite3.Connection, time_us: NDArray[np.int64], series: Series) -> None:
        import numpy as np

        from meterlog.session.codec import pack, pack_times

        finite = series.value[np.isfinite(series.value)]
        connection.execute(
            _INSERT_CHUNK,
            (
                self._channel,
                self._first,
                len(time_us),
                int(time_us[0]),
                int(time_us[-1]),
                float(finite.min()) if len(finite) else None,
                float(finite.max()) if len(finite) else None,
                int(np.bitwise_or.reduce(series.flags)),
                int(np.count_nonzero(series.flags & Flag.OVERLOAD)),
                pack_times(time_us),
                pack(series.value.astype("<f8", copy=False)),
                pack(series.resolution.astype("<f4", copy=False)),
                pack(series.flags.astype("<u2", copy=False)),
            ),
        )
        self._first += len(time_us)

    def _as_rows(self, time_us: NDArray[np.int64], series: Series) -> list[Row]:
        number = self._first + len(self._rows)
        columns = (time_us.tolist(), series.value.tolist(), series.resolution.tolist(), series.flags.tolist())
        return [Row(self._channel, number + i, *row) for i, row in enumerate(zip(*columns, strict=True))]
