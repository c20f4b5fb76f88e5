"""Reads the rows of a file in the order of time, each channel's by its own clock where a row is one channel's."""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from meterlog.exchange.table.clock import Clock, Restart, Stretch
from meterlog.exchange.table.import_plan import ImportPlan
from meterlog.exchange.table.looks import is_words, note_of
from meterlog.exchange.table.other_table import is_header, refuse_table_below
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.rows import Floats, Rows
from meterlog.exchange.table.survey import joined
from meterlog.exchange.table.text_rows import EMPTY, HEADER_AGAIN, NO_ROWS, Block, Texts
from meterlog.exchange.table.zone import HourStep, LocalTimes, is_missing_hour


class Ordered(NamedTuple):
    """Rows in order.

    Attributes:
        channel: the name of theirs, where a column names it; else nothing.
        stretch: the rows.
    """

    channel: str
    stretch: Stretch


class RowReader:
    """Gives a file's rows with their times as the file counts them.

    Attributes:
        remarks: what was left out.
        seen: how many rows there were.
        texts: lines of text and their numbers that no row given so far stands behind.
    """

    def __init__(self, plan: ImportPlan, remarks: Remarks, clocks: dict[str, Clock] | None = None) -> None:
        """Read by clocks of its own, or go on with those of the file before."""
        self.remarks, self.seen = remarks, 0
        self.texts: Texts = []
        self._plan = plan
        self._clocks: dict[str, Clock] = {} if clocks is None else clocks
        self._counted = 0
        self._found_texts: list[tuple[int, list[str]]] = []

    @property
    def restarts(self) -> list[Restart]:
        """Where the clock began again; where channels have clocks of their own, that which did so most often."""
        return max((clock.restarts for clock in self._clocks.values()), key=len, default=[])

    @property
    def missing_hour(self) -> HourStep | None:
        """Where local times without a zone first step over an hour that clocks skipped in some places."""
        if not self._plan.may_skip_hours:
            return None
        dated = self._plan.is_local
        steps = (step for clock in self._clocks.values() for step in clock.hours if is_missing_hour(step, dated=dated))
        return next(steps, None)

    def rows(self) -> Iterator[Ordered]:
        """The rows, stretch by stretch."""
        for block in self._plan.blocks(self.remarks):
            self.seen += len(block.line)
            self._found_texts = []
            for line, cells in block.texts:
                self._find_text(line, cells)
            rows = self._timed(block)
            self.texts += [(line, note) for line, cells in sorted(self._found_texts) if (note := note_of(cells))]
            if self._plan.options.restarts != "stop":  # of all channels at once, so they have one clock
                yield from self._split(self._clock("").feed(rows, self.remarks))
                continue
            for name, part in self._by_channel(rows):
                yield from (Ordered(name, stretch) for stretch in self._clock(name).feed(part, self.remarks))
        for name, clock in self._clocks.items():
            yield from (Ordered(name, stretch) for stretch in clock.finish()) if name else self._split(clock.finish())

    def _split(self, stretches: Iterator[Stretch]) -> Iterator[Ordered]:
        """Rows of all channels by channel."""
        for stretch in stretches:
            begins = stretch.begins
            for name, part in self._by_channel(stretch.rows):
                yield Ordered(name, stretch._replace(rows=part, begins=begins))
                begins = False

    def _clock(self, name: str) -> Clock:
        if name not in self._clocks:
            plan = self._plan
            joins = plan.options.restarts == "offset"
            self._clocks[name] = Clock(
                daily=plan.time.daily, joins=joins, stamps=plan.stamps, title=self._title,
                local=LocalTimes(plan.zone) if plan.zone else None, day_s=plan.day_s, wraps_s=plan.time.wraps_s,
            )  # fmt: skip
        return self._clocks[name]

    @property
    def _title(self) -> str:
        return " and ".join(self._plan.layout.title(place) for place in self._plan.time_places)

    def _by_channel(self, rows: Rows) -> Iterator[tuple[str, Rows]]:
        place = self._plan.channel_place
        if place is None or not len(rows):
            yield "", rows
            return
        names = np.array(list(map(str.strip, rows.block.columns[place])))
        for name in dict.fromkeys(names.tolist()):
            chosen = names == name
            if name:
                yield name, rows.chosen(chosen)
            else:
                self.remarks.add_unreadable("values without a channel name, left out", rows.lines(chosen))

    def _timed(self, block: Block) -> Rows:
        """The rows whose time is one."""
        if not self._plan.time_places:
            return self._numbered(block)
        texts = joined(block, self._plan.time_places)
        try:
            time_s = np.array(self._plan.time.many(texts), np.float64)
        except (ValueError, OverflowError):
            time_s = np.array([self._one_time(block, i, text) for i, text in enumerate(texts)], np.float64)
        return Rows(block, time_s).chosen(np.isfinite(time_s))

    def _numbered(self, block: Block) -> Rows:
        """Rows without a time of their own: each is one interval after the one before."""
        interval_s = self._plan.options.interval or 0.0
        first = self._plan.values[0].place
        header = [row[first].strip() for row in self._plan.layout.header_rows if first < len(row)]
        again = np.array([cell.strip() in header for cell in block.columns[first]], np.bool_)
        self.remarks.add_all(HEADER_AGAIN, Rows(block, np.zeros(len(again))).lines(again))
        block = block.chosen(~again)
        time_s: Floats = np.arange(self._counted, self._counted + len(block.line), dtype=np.float64) * interval_s
        self._counted += len(block.line)
        return Rows(block, time_s)

    def _find_text(self, line: int, cells: list[str]) -> None:
        if is_header(cells):
            raise refuse_table_below(line, cells)
        self._found_texts.append((line, cells))

    def _one_time(self, block: Block, i: int, text: str) -> float:
        try:
            time_s = self._plan.time.one(text)
        except (ValueError, OverflowError):
            time_s = np.nan
        if not np.isfinite(time_s):
            cells = block.row(i)
            if [cell.strip() for cell in cells] in self._plan.layout.header_rows:
                reason = HEADER_AGAIN
            elif is_words(cells):
                self._find_text(block.line[i], cells)
                return np.nan
            elif not any(cells[place].strip() for place in self._plan.places):
                reason = EMPTY
            elif not text.strip():
                reason = "rows without a time, skipped"
            else:
                reason = "rows whose time cannot be read, skipped"
            add = self.remarks.add_all if reason in NO_ROWS else self.remarks.add_unreadable
            add(reason, (block.line[i],))
        return time_s
