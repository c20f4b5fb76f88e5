"""Makes a session again of a table that `meterlog export` wrote."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import islice
from pathlib import Path

import numpy as np

from meterlog.errors import TableError
from meterlog.exchange.new_session import NewSession
from meterlog.exchange.session_table import (
    COLUMNS,
    InOrder,
    SessionFacts,
    TableEnd,
    flags_from_words,
    says_its_end,
    unguard,
)
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.source import text_source
from meterlog.exchange.table.text_rows import Block, Shape, blocks, split_line
from meterlog.series import Series
from meterlog.session.writer import SessionWriter

_DELIMITERS = (",", ";", "\t", "|")
_OVERLOADS = {"OL": np.inf, "-OL": -np.inf}


def is_session_table(path: Path) -> bool:
    """Tell whether a table has the columns that `meterlog export` writes."""
    return _delimiter(path) is not None


def _delimiter(path: Path) -> str | None:
    for line in islice(text_source(path).lines(), 1):
        for delimiter in _DELIMITERS:
            if tuple(split_line(line.lstrip("\ufeff"), delimiter)) == COLUMNS:
                return delimiter
    return None


def import_session_table(
    path: Path, out: Path, details: Mapping[str, str], remarks: Remarks
) -> tuple[dict[str, int], int]:
    """Write the session.

    Returns:
        The readings of each channel by its label, and the number of markers.

    Raises:
        TableError: the table is damaged or breaks off; nothing is left behind.
        SessionWriteFailed: `out` exists or cannot be written.
    """
    delimiter = _delimiter(path)
    if delimiter is None:
        raise TableError(f"'{path}' was not written by 'meterlog export'")
    loader: _Loader | None = None
    with NewSession(out) as new:
        shape = Shape(delimiter, 1, len(COLUMNS), len(COLUMNS))
        for block in blocks(text_source(path).lines(), shape, remarks):
            if loader is None:
                first = block.columns[-1][0]
                facts = SessionFacts.from_json(first)
                writer = new.begin(facts.started_at, facts.details | dict(details))
                loader = _Loader(facts, writer, decimal_comma=delimiter != "," and _has_comma(block))
            loader.load(block)
        if loader is None:
            raise TableError(f"'{path}' holds no rows")
        if says_its_end(first):
            loader.check_end(remarks)
        new.keep()
    return loader.readings, loader.markers


def _has_comma(block: Block) -> bool:
    """Tell whether the times, which always show six decimals, show them after a comma."""
    return "," in block.columns[0][0]


class _Loader:
    def __init__(self, facts: SessionFacts, writer: SessionWriter, *, decimal_comma: bool) -> None:
        self._writer, self._decimal_comma = writer, decimal_comma
        facts.begin_channels(writer)
        self._labels = {str(channel.number): channel.label for channel in facts.channels}
        self.readings = dict.fromkeys(self._labels.values(), 0)
        self.markers = 0
        self._in_order = InOrder()
        self._last_line, self._said_last = 0, ""

    def load(self, block: Block) -> None:
        """Add the readings and markers of a block."""
        readings: dict[str, list[tuple[float, float, float, int]]] = {}
        for line, *cells in zip(block.line, *block.columns, strict=True):
            try:
                time, channel, _, value, _, resolution, flags, marker, note, by, said = cells
                self._last_line, self._said_last = line, said or self._said_last
                time_s = self._number(time)
                if value:
                    shown = _OVERLOADS[value] if value in _OVERLOADS else self._number(value)
                    count = self._number(resolution) if resolution else np.nan
                    readings.setdefault(channel, []).append((time_s, shown, count, flags_from_words(flags)))
                if marker:
                    self._writer.add_marker(time_s, unguard(marker), unguard(note), unguard(by))
                    self.markers += 1
            except ValueError as error:
                raise TableError(f"line {line} of the exported table is damaged ({error})", line) from error
        for channel, rows in readings.items():
            if channel not in self._labels:
                raise TableError(f"the exported table has readings of a channel '{channel}' that it does not describe")
            table = np.array(rows, np.float64)
            series = Series(
                table[:, 0].copy(), table[:, 1].copy(), table[:, 2].astype("<f4"), table[:, 3].astype("<u2")
            )
            self._in_order.check(int(channel), series)
            self._writer.append_series(int(channel), series)
            self.readings[self._labels[channel]] += len(rows)

    def check_end(self, remarks: Remarks) -> None:
        """Look whether the table holds what its last row says.

        Raises:
            TableError: there is no such row: the table breaks off before it.
        """
        said, found = TableEnd.from_json(self._said_last), TableEnd(sum(self.readings.values()), self.markers)
        if said != found:
            remarks.add(
                f"changed since it was exported: {found.readings} of {said.readings} readings,"
                f" {found.markers} of {said.markers} markers",
                self._last_line,
            )

    def _number(self, text: str) -> float:
        number = float(text.replace(",", ".") if self._decimal_comma else text)
        if not math.isfinite(number):
            raise ValueError(f"'{text}' is not a number")
        return number
