"""Check sums of what a session holds: a reading or a chunk that reads back otherwise than it was written is known.

CRC-32 as in zlib, PNG and Ethernet (ISO 3309), over little-endian bytes without padding:

- A row of `reading`: channel u32, number u64, time_us i64, value f64, resolution f64, flags u16, time_error_us u32.
  NULL counts as the quiet NaN 0x7FF8000000000000, and a resolution of -0.0 as 0.0: SQLite keeps no other.
- A chunk's `span_crc`: channel u32, first u64, count u32, start_us i64, end_us i64, minimum f64, maximum f64
  (NULL and -0.0 as above), flags u16, overloads u32.
- A chunk's `crc`: the same bytes as `span_crc`, then the lengths of the five packed columns (u32 each), then the
  columns: times, numbers, resolutions, flag_bits, time_errors. So an overview needs no column to check a span.
"""

from __future__ import annotations

import math
import struct
from typing import Any, NamedTuple
from zlib import crc32

_ROW = struct.Struct("<IQqddHI")
_SPAN = struct.Struct("<IQIqqddHI")
_LENGTHS = struct.Struct("<5I")
_NAN = math.nan


class Row(NamedTuple):
    """A reading as it lies in the table `reading`, without its check sum."""

    channel: int
    number: int
    time_us: int
    value: float | None
    resolution: float | None
    flags: int
    time_error_us: int = 0


class Span(NamedTuple):
    """A chunk's own statistics as they lie in the table `chunk`, without its columns and check sums."""

    channel: int
    first: int
    readings: int
    start_us: int
    end_us: int
    minimum: float | None
    maximum: float | None
    flags: int
    overloads: int


def _kept(number: float | None) -> float:
    """A number as a REAL column gives it back, NULL as NaN."""
    return _NAN if number is None or number != number else number + 0.0


def row_crc(row: tuple[Any, ...]) -> int:
    """The check sum of a `Row`.

    Raises:
        struct.error: a cell is none of a reading's.
    """
    channel, number, time_us, value, resolution, flags, error_us = row
    if value is None or value != value:  # SQLite keeps every NaN as NULL
        value = _NAN
    return crc32(_ROW.pack(channel, number, time_us, value, _kept(resolution), flags, error_us))


def span_crc(span: tuple[Any, ...]) -> int:
    """The check sum of a `Span`.

    Raises:
        struct.error: a cell is none of a chunk's.
    """
    *whole, minimum, maximum, flags, overloads = span
    return crc32(_SPAN.pack(*whole, _kept(minimum), _kept(maximum), flags, overloads))


def chunk_crc(span_sum: int, columns: tuple[bytes, ...]) -> int:
    """The check sum of a chunk: `span_sum` is its `span_crc`, the columns are packed, in the order of the table."""
    found = crc32(_LENGTHS.pack(*map(len, columns)), span_sum)
    for column in columns:
        found = crc32(column, found)
    return found
