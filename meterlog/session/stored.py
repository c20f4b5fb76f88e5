"""Makes series of what lies in the tables `chunk` and `reading`; what fails its check sum is left out, and told."""

from __future__ import annotations

import struct
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from meterlog.series import Series
from meterlog.session.cells import LONGEST_US, MOST_READINGS
from meterlog.session.checks import chunk_crc, row_crc, span_crc
from meterlog.session.codec import unpack, unpack_times
from meterlog.session.schema import CHUNK_READINGS

_SPAN = "channel, first, count, start_us, end_us, minimum, maximum, flags, overloads"
_PACKED = "times, numbers, resolutions, flag_bits"
_CELLS = "channel, number, time_us, value, resolution, flags"

Cells = tuple[Any, ...]


class Columns(NamedTuple):
    """Return what to select, the check sum last."""

    chunk: str
    span: str
    reading: str
    rejected: str


_FORMAT_1 = Columns(f"{_SPAN}, {_PACKED}, x'', NULL, NULL", f"{_SPAN}, NULL", f"{_CELLS}, 0, NULL", "0")
_FORMAT_2 = Columns(
    f"{_SPAN}, {_PACKED}, time_errors, span_crc, crc",
    f"{_SPAN}, span_crc",
    f"{_CELLS}, time_error_us, crc",
    "rejected",
)


class Lost(NamedTuple):
    """Readings of a channel that the file holds no more, or not as they were written."""

    channel: int
    first: int
    readings: int


class Stored:
    """Checks and decodes what was selected of a session.

    Attributes:
        columns: what to select; format 1 has no check sums and no time errors.
        lost: what had to be left out so far.
    """

    def __init__(self, version: int) -> None:
        self._checked = version > 1
        self.columns = _FORMAT_2 if self._checked else _FORMAT_1
        self.lost: set[Lost] = set()

    def sound_spans(self, found: Sequence[Cells]) -> list[Cells]:
        """Those of `columns.span` that are as they were written."""
        return self._sound(found, lambda cells: span_crc(cells[:-1]))

    def sound_chunks(self, found: Sequence[Cells]) -> list[Cells]:
        """Those of `columns.chunk` that are as they were written.

        Raises:
            ValueError: a number is none of a chunk's.
        """
        sound = self._sound(found, _whole_crc)
        for _, first, count, *_ in sound:
            # A wrong count must not reserve the whole memory.
            if not 0 < int(count) <= CHUNK_READINGS or not 0 <= int(first) <= MOST_READINGS:
                raise ValueError("damaged chunk")
        return sound

    def sound_rows(self, found: Sequence[Cells]) -> list[Cells]:
        """Those of `columns.reading` that are as they were written."""
        return self._sound(found, lambda cells: row_crc(cells[:-1]), counted=False)

    def _sound(self, found: Sequence[Cells], crc: Callable[[Cells], int], *, counted: bool = True) -> list[Cells]:
        if not self._checked:
            return list(found)
        sound = []
        for cells in found:
            try:
                same = crc(cells) == cells[-1]
            except (struct.error, TypeError, OverflowError):  # a cell is of another kind
                same = False
            if same:
                sound.append(cells)
            else:
                channel, first, count = (cell if isinstance(cell, int) else 1 for cell in cells[:3])
                self.lost.add(Lost(channel, first, count if counted else 1))
        return sound

    def note_gaps(self, channel: int, chunks: Sequence[Cells], rows: Sequence[Cells]) -> None:
        """Note the readings that are missing between those of a whole channel.

        Raises:
            ValueError: a reading is there twice.
        """
        known = sorted((lost.first, lost.readings) for lost in self.lost if lost.channel == channel)
        have = [(chunk[1], chunk[2]) for chunk in chunks] + [(row[1], 1) for row in rows]
        expected = 0
        for first, count in sorted(have + known):
            if first > expected:
                self.lost.add(Lost(channel, expected, first - expected))
            elif first < expected and (first, count) not in known:
                raise ValueError("readings overlap")
            expected = max(expected, first + count)


def _whole_crc(cells: Cells) -> int:
    *span_and_columns, span_sum, _ = cells
    if span_crc(tuple(span_and_columns[:9])) != span_sum:
        raise TypeError("damaged span")
    return chunk_crc(span_sum, tuple(span_and_columns[9:]))


def joined(chunks: Sequence[Cells], rows: Sequence[Cells]) -> Series:
    """Sound chunks and the sound rows after them as one series.

    Raises:
        ValueError: a column is damaged, or the times are none of a session's.
    """
    sealed = sum(chunk[2] for chunk in chunks)
    total = sealed + len(rows)
    time_us, value = np.empty(total, np.int64), np.empty(total, np.float64)
    resolution, flags = np.empty(total, np.float32), np.empty(total, np.uint16)
    error_s = np.zeros(() if not any(chunk[13] for chunk in chunks) and not any(row[6] for row in rows) else total)
    at = 0
    for _, _, count, start_us, end_us, *_, times, numbers, resolutions, flag_bits, time_errors, _, _ in chunks:
        part = slice(at, at + count)
        time_us[part] = unpack_times(times, start_us, count)
        if time_us[at + count - 1] != end_us:
            raise ValueError("a chunk does not end when it says")
        value[part] = unpack(numbers, "f", count)
        resolution[part] = unpack(resolutions, "f", count)
        flags[part] = unpack(flag_bits, "u", count)
        if time_errors:
            error_s[part] = unpack(time_errors, "u", count)
        at += count
    if rows:
        _, _, tail_us, tail_value, tail_resolution, tail_flags, tail_errors, _ = zip(*rows, strict=True)
        time_us[sealed:] = tail_us
        value[sealed:] = np.array(tail_value, np.float64)  # NULL becomes NaN
        resolution[sealed:] = np.array(tail_resolution, np.float64)
        flags[sealed:] = tail_flags
        if error_s.ndim:
            error_s[sealed:] = tail_errors
    if total and not -LONGEST_US <= time_us[0] <= time_us[-1] <= LONGEST_US:
        raise ValueError("a time is none of a session's")
    if (time_us[1:] < time_us[:-1]).any():
        raise ValueError("its times go back")
    return Series(time_us / 1e6, value, resolution, flags, (error_s / 1e6).astype(np.float32))
