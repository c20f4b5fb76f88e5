"""Writes a session as a table that a spreadsheet opens safely and `meterlog import` reads back whole."""

from __future__ import annotations

import csv
import heapq
import io
import math
from collections.abc import Callable, Iterator
from itertools import chain
from pathlib import Path
from typing import NamedTuple

import numpy as np

from meterlog.errors import UsageError
from meterlog.exchange.finished_file import finished_file
from meterlog.exchange.parts import taken
from meterlog.exchange.session_table import COLUMNS, SessionFacts, TableEnd, flag_words, guard
from meterlog.session.model import Channel, Marker
from meterlog.session.reader import SessionReader

TOLD_EACH = 2048
"""Readings in a part of the table: some 90 kB."""


class _Row(NamedTuple):
    """A reading's or a marker's row before the marker columns; sorts by time, then channel (0 for a marker)."""

    time_us: int
    channel: int
    cells: tuple[str, ...]
    marker: Marker | None


def export_csv(
    reader: SessionReader,
    out: Path,
    *,
    delimiter: str,
    decimal: str,
    replace: bool = False,
    told: Callable[[int], None] = lambda _: None,
) -> int:
    """Write all readings and markers in time order, in bounded memory.

    Args:
        reader: the session.
        out: the table to make.
        delimiter: one character.
        decimal: the decimal mark; not the delimiter.
        replace: whether an existing file is written over.
        told: is told the number of readings written so far.

    Returns:
        The number of readings.

    Raises:
        EmptySession: there is no reading.
        UsageError: the delimiter is the decimal mark.
        SessionWriteFailed: the file exists or cannot be written.
    """
    parts, readings = csv_parts(reader, delimiter=delimiter, decimal=decimal), 0
    with finished_file(out, replace=replace) as passing, passing.open("w", encoding="utf-8", newline="") as file:
        for text, readings in parts:
            file.write(text)
            told(readings)
    return readings


def csv_parts(reader: SessionReader, *, delimiter: str, decimal: str) -> Iterator[tuple[str, int]]:
    """The table in parts, each made when it is asked for, with the number of readings up to its end.

    The last row says how many readings and markers the table has, so that one which broke off is known for it.
    Arguments and errors are those of `export_csv`.
    """
    if delimiter == decimal:
        raise UsageError("the delimiter and the decimal mark cannot be the same character")
    reader.need_readings()
    return _parts(reader, delimiter, decimal)


def _parts(reader: SessionReader, delimiter: str, decimal: str) -> Iterator[tuple[str, int]]:
    facts, part = SessionFacts.of(reader), io.StringIO(newline="")
    table = csv.writer(part, delimiter=delimiter, lineterminator="\r\n")  # so that both marks are quoted
    table.writerow(COLUMNS)
    held: tuple[str, ...] = ()  # a row waits for the next: the last one says more
    session, readings, markers = facts.as_json(), 0, 0
    for cells in _with_markers(_rows(reader, facts.channels, decimal), decimal):
        if held:
            table.writerow((*held, session))
            session = ""
        held = cells
        readings += bool(cells[1])
        markers += bool(cells[7])
        if not readings % TOLD_EACH:
            yield taken(part), readings
    table.writerow((*held, TableEnd(readings, markers).as_json(session)))
    yield taken(part), readings


def _rows(reader: SessionReader, channels: list[Channel], decimal: str) -> Iterator[_Row]:
    markers = (_Row(round(m.time_s * 1e6), 0, (), m) for m in reader.markers)
    streams = [_readings(reader, channel, decimal) for channel in channels]
    return heapq.merge(markers, *streams, key=lambda row: row[:2])


def _readings(reader: SessionReader, channel: Channel, decimal: str) -> Iterator[_Row]:
    number, label, unit = str(channel.number), guard(channel.label), channel.quantity.unit
    shown = _Shown(decimal)
    for block in reader.blocks(channel.number):
        times_us = np.rint(block.time_s * 1e6).astype(np.int64).tolist()
        columns = (block.time_s.tolist(), block.value.tolist(), block.resolution.tolist(), block.flags.tolist())
        for time_us, (time_s, value, resolution, flags) in zip(times_us, zip(*columns, strict=True), strict=True):
            value_text, resolution_text = shown[value, resolution]
            time_text = _time_text(time_s, decimal)
            cells = (time_text, number, label, value_text, unit, resolution_text, flag_words(flags) if flags else "")
            yield _Row(time_us, channel.number, cells, None)


def _with_markers(rows: Iterator[_Row], decimal: str) -> Iterator[tuple[str, ...]]:
    """All cells but the last column's; a marker goes on the row of a reading of the same moment."""
    waiting: _Row | None = None
    for row in chain(rows, [None]):
        if waiting is not None and waiting.marker is not None:
            marker = (guard(waiting.marker.name), guard(waiting.marker.note), guard(waiting.marker.by))
            if row is not None and row.marker is None and row.time_us == waiting.time_us:
                yield (*row.cells, *marker)
                waiting = None
                continue
            yield (_time_text(waiting.time_us / 1e6, decimal), "", "", "", "", "", "", *marker)
        waiting = None
        if row is not None and row.marker is None:
            yield (*row.cells, "", "", "")
        else:
            waiting = row


def _time_text(time_s: float, decimal: str) -> str:
    text = f"{time_s:.6f}"
    return text if decimal == "." else text.replace(".", decimal)


class _Shown(dict[tuple[float, float], tuple[str, str]]):
    """Value and resolution as texts, remembered: with the decimals of the display where that is the same number."""

    MOST = 100_000

    def __init__(self, decimal: str) -> None:
        super().__init__()
        self._decimal = decimal

    def __missing__(self, key: tuple[float, float]) -> tuple[str, str]:
        if len(self) >= self.MOST:
            self.clear()
        value, resolution = key
        known = "" if math.isnan(resolution) else str(np.float32(resolution))
        texts = (_value_text(value, resolution).replace(".", self._decimal), known.replace(".", self._decimal))
        if not math.isnan(value + resolution):  # a NaN is never found again
            self[key] = texts
        return texts


def _value_text(value: float, resolution: float) -> str:
    if math.isinf(value):
        return "OL" if value > 0 else "-OL"
    if 0.0 < resolution < 1.0:
        shown = f"{value:.{min(round(-math.log10(resolution)), 15)}f}"
        if float(shown) == value and (value or not shown.startswith("-")):
            return shown
    return repr(value)
