"""Says what the first pass over a file found out, before its rows are read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from meterlog.errors import TableError
from meterlog.exchange.table.layout import Layout, as_delimiter, find_layout, head_of
from meterlog.exchange.table.options import ImportOptions
from meterlog.exchange.table.other_table import check_no_table_above
from meterlog.exchange.table.question import Question
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.source import Source, open_source
from meterlog.exchange.table.stamps import Stamps
from meterlog.exchange.table.survey import Survey
from meterlog.exchange.table.text_rows import Block, blocks
from meterlog.exchange.table.time_text import TimeReader
from meterlog.exchange.table.value_column import ValueColumn, value_column
from meterlog.exchange.table.zone import LocalTimes


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """Everything about the file but its rows.

    Attributes:
        source: the file.
        options: of the command.
        layout: where things are.
        decimal: the decimal mark of the values.
        time_decimal: that of the times.
        time_places: the columns of the time; none where rows are counted.
        time: reads their cells.
        stamps: how fine the times are.
        values: the columns of values.
        state_places: columns whose changes become markers.
        marker_place: the column of markers.
        channel_place: the column that names each row's channel.
        channel_names: the names in it.
        first_s: the earliest first time of any channel, as the file counts; None where rows are counted.
        last_s: the last time that was seen.
        rows: how many there are.
    """

    source: Source
    options: ImportOptions
    layout: Layout
    decimal: str
    time_decimal: str
    time_places: tuple[int, ...]
    time: TimeReader
    stamps: Stamps
    values: tuple[ValueColumn, ...]
    state_places: tuple[int, ...]
    marker_place: int | None
    channel_place: int | None
    channel_names: tuple[str, ...]
    first_s: float
    last_s: float
    rows: int

    @property
    def is_local(self) -> bool:
        """Tell whether the times are a date and time of day without an offset from UTC; the date may be an option's."""
        dated = not self.time.daily or self.options.date is not None
        return self.time.absolute and dated and not self.time.zoned

    @property
    def day_s(self) -> float:
        """The day on which times of day begin, s since 1970; 0 where no option says it, or the times have dates."""
        if not self.time.daily or self.options.date is None:
            return 0.0
        return (self.options.date - date(1970, 1, 1)).total_seconds()

    @property
    def begins_s(self) -> float:
        """The earliest first time of any channel on the axis of its rows, which is UTC's where the zone is known."""
        local_s = np.array([self.first_s + self.day_s])
        return float((LocalTimes(self.zone).utc(local_s) if self.zone else local_s)[0])

    @property
    def may_skip_hours(self) -> bool:
        """Tell whether nothing says what a step over an hour is: an offset does, and a zone where the day is known."""
        settled = self.options.zone is not None and (self.is_local or not isinstance(self.options.zone, ZoneInfo))
        return self.time.absolute and not self.time.zoned and not settled

    @property
    def zone(self) -> ZoneInfo | None:
        """The zone by whose rules they become UTC."""
        return self.options.zone if self.is_local and isinstance(self.options.zone, ZoneInfo) else None

    def spelled(self, time_s: float) -> str:
        """A time on the axis of the file for a person."""
        if self.zone is None:
            return self.time.spelled(time_s)
        return datetime.fromtimestamp(time_s, self.zone).isoformat(" ", "milliseconds")

    def described(self) -> list[str]:
        """Describe what was understood, one line for each thing."""
        named = {",": "comma", ";": "semicolon", "\t": "tab", "|": "bar", "space": "blanks"}
        layout, source = self.layout, self.source
        mark = named.get(layout.delimiter, layout.delimiter)
        header = f"header in line {layout.header_line}" if layout.header_rows else "no header"
        how = f"{source.translated}, " if source.translated else ""
        in_times = f" ('{self.time_decimal}' in the times)" if self.time_decimal != self.decimal else ""
        titles = " and ".join(layout.title(place) for place in self.time_places) or "none, rows are counted"
        lines = [
            f"file: {source.kind}, {how}columns separated by {mark}, decimal mark '{self.decimal}'{in_times}, {header}",
            f"time: {titles}, read as {self.time.description}",
        ]
        lines += [f"value: {column.title}, read as {column.spelled}" for column in self.values]
        lines += [f"state: {layout.title(place)}, a marker where it changes" for place in self.state_places]
        if self.marker_place is not None:
            lines.append(f"markers: {layout.title(self.marker_place)}")
        if self.channel_place is not None:
            lines.append(f"channels named by {layout.title(self.channel_place)}: {', '.join(self.channel_names)}")
        if self.stamps.spread:
            lines.append(self.stamps.sentence)
        return lines

    @property
    def places(self) -> tuple[int, ...]:
        """The columns of times and values."""
        return (*self.time_places, *(column.place for column in self.values))

    def blocks(self, remarks: Remarks) -> Iterator[Block]:
        """The rows of the file, block by block."""
        return blocks(self.source.lines(), self.layout.shape(max(self.places) + 1, exact=self.source.exact), remarks)


def make_plan(path: Path, options: ImportOptions) -> ImportPlan:
    """Read the whole file once to see what its columns can mean.

    Raises:
        TableError: something is missing.
        Question: something can be understood in two ways; the message says how to settle it.
        UsageError: the options do not fit together.
    """
    options.check()
    source = open_source(path, options)
    given = source.delimiter or (as_delimiter(options.delimiter) if options.delimiter else None)
    head = head_of(source.lines())
    layout = find_layout(head, options.columns, given, source.path.name)
    check_no_table_above(head, layout.delimiter, layout.header_line)
    places = iter(layout.places)
    time_places, value_places, state_places = (
        tuple(next(places) for _ in names) for names in (options.time, options.value, options.state)
    )
    marker_place = next(places) if options.marker is not None else None
    channel_place = next(places) if options.channel is not None else None
    shape = layout.shape(max((*time_places, *value_places)) + 1, exact=source.exact)
    seen = Survey(source, shape, time_places, value_places, channel_place)
    time_decimal, decimal = _decimal_marks(seen, options.decimal, layout.delimiter)
    title = layout.title(time_places[-1]) if time_places else ""
    time = seen.time.reader(options, title, time_decimal)
    values = tuple(
        value_column(i, place, layout.title(place), options, decimal, seen.distinct[place])
        for i, place in enumerate(value_places)
    )
    if seen.time.falls(time):
        raise TableError(
            f"the times of '{title}' run backwards, the newest row first: sort the table by them, the oldest row first"
        )
    first = seen.time.read(time, [*seen.channels.values()] or seen.time.first)
    last = seen.time.read(time, seen.time.last)
    stamps = seen.time.stamps(time, channels=len(seen.channels))
    return ImportPlan(
        source, options, layout, decimal, time_decimal, time_places, time, stamps, values, state_places, marker_place,
        channel_place, tuple(seen.channels), min(first, default=0.0), max(last, default=0.0), seen.rows,
    )  # fmt: skip


def _decimal_marks(seen: Survey, given: str | None, delimiter: str) -> tuple[str, str]:
    """The decimal marks of the times and of the values: each their own where the cells of both are certain."""
    times, values = seen.time_marks.certain, given or seen.value_marks.certain
    if times and values:
        return times, values
    try:
        if times:
            seen.value_marks.check_beside(times, delimiter)
        mark = given or seen.marks.decimal_mark(delimiter)
        return mark, mark
    except TableError as error:
        raise Question(str(error), "decimal", seen.marks.likely) from None
