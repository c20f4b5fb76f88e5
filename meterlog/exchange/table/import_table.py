"""Makes a session of a table from elsewhere, block by block; what it leaves out it counts, with line numbers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import compress
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.errors import TableError
from meterlog.exchange.new_session import NewSession
from meterlog.exchange.table.import_plan import ImportPlan, ValueColumn, joined
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.text_rows import Block, blocks
from meterlog.exchange.table.time_text import DAY_S
from meterlog.series import Series
from meterlog.session.model import IMPORT
from meterlog.text.numbers import BLANK, FOREIGN, GOOD, TEXT, plain_numbers

Floats = NDArray[np.float64]


class Rows(NamedTuple):
    """Rows that have a time and stand in order.

    Attributes:
        block: their line numbers and cells.
        time_s: s from the session's start.
    """

    block: Block
    time_s: Floats

    def chosen(self, good: NDArray[np.bool_]) -> Rows:
        """The rows where `good` holds."""
        return Rows(self.block.chosen(good), self.time_s[good])

    def lines(self, good: NDArray[np.bool_]) -> list[int]:
        """The line numbers where `good` holds."""
        return list(compress(self.block.line, good))


@dataclass(slots=True)
class Imported:
    """The result of an import."""

    started_at: datetime
    readings: dict[str, int]
    markers: int
    notes: list[str]


def import_table(plan: ImportPlan, out: Path, remarks: Remarks, details: Mapping[str, str]) -> Imported:
    """Write the session.

    Raises:
        TableError: not one reading could be read.
        SessionWriteFailed: `out` exists or cannot be written; nothing is left behind then.
    """
    reader = RowReader(plan, remarks)
    with NewSession(out) as new:
        loader: _Loader | None = None
        for rows in reader.rows():
            if loader is None:
                loader = _Loader(plan, new, reader.started_at, details, remarks)
            loader.load(rows)
        if loader is None or not any(loader.readings.values()):
            reasons = "; ".join(remarks.sentences()) or "there are no rows below the header"
            raise TableError(f"'{plan.path}' has no usable reading: {reasons}")
        new.keep()
    return Imported(reader.started_at, loader.readings, loader.markers, reader.notes)


class RowReader:
    """Gives rows in time order, and what moment the first one is.

    Attributes:
        started_at: the session's start; known from the first rows on.
        notes: what had to be taken from elsewhere than the table.
    """

    def __init__(self, plan: ImportPlan, remarks: Remarks) -> None:
        self._plan, self._remarks = plan, remarks
        places = [*plan.time_places, *(column.place for column in plan.values)]
        self._needed = max(places) + 1
        self._zero_s: float | None = None
        self._last_s = -np.inf
        self._day_s = 0.0
        self._last_clock_s: float | None = None
        self.started_at = datetime.now(UTC)
        self.notes: list[str] = []

    def rows(self) -> Iterator[Rows]:
        """The rows, block by block."""
        plan = self._plan
        for block in blocks(plan.path, plan.encoding, plan.layout.shape(self._needed), self._remarks):
            rows = self._timed(block)
            if len(rows.time_s):
                yield self._in_order(rows)

    def _timed(self, block: Block) -> Rows:
        """The rows whose time is one, on the session's axis."""
        texts = joined(block, self._plan.time_places)
        try:
            time_s = np.array(self._plan.time.many(texts), np.float64)
        except ValueError:
            time_s = np.array([self._one_time(block, i, text) for i, text in enumerate(texts)], np.float64)
        rows = Rows(block, time_s).chosen(np.isfinite(time_s))
        return Rows(rows.block, self._on_axis(rows)) if len(rows.time_s) else rows

    def _one_time(self, block: Block, i: int, text: str) -> float:
        try:
            time_s = self._plan.time.one(text)
        except (ValueError, OverflowError):
            time_s = np.nan
        if not np.isfinite(time_s):
            cells = block.row(i)
            if [cell.strip() for cell in cells] in self._plan.layout.header_rows:
                reason = "repeated header lines, skipped"
            elif not any(cell.strip() for cell in cells):
                reason = "empty rows, skipped"
            elif not text.strip():
                reason = "rows without a time, skipped"
            else:
                reason = "rows whose time cannot be read, skipped"
            self._remarks.add(reason, block.line[i])
        return time_s

    def _on_axis(self, rows: Rows) -> Floats:
        """Past midnights counted on, and from the session's start."""
        time_s = rows.time_s
        if self._plan.time.daily:
            before = time_s[0] if self._last_clock_s is None else self._last_clock_s
            self._last_clock_s = float(time_s[-1])
            step_s = np.diff(time_s, prepend=before, append=time_s[-1])
            # A clock that fell back for one row and then went on had no midnight: that row is the wrong one.
            passed = (step_s[:-1] < -DAY_S / 2) & (step_s[1:] < DAY_S / 2)
            self._remarks.add_all("midnights passed, the clock counted on", rows.lines(passed))
            midnights = np.cumsum(passed)
            time_s = time_s + self._day_s + midnights * DAY_S
            self._day_s += float(midnights[-1]) * DAY_S
        if self._zero_s is None:
            self._zero_s = float(time_s[0]) if self._plan.time.absolute else 0.0
            self._find_start()
        shifted: Floats = time_s - self._zero_s
        return shifted

    def _find_start(self) -> None:
        """The moment of the session's time 0, from the table, the options, or the file's own date."""
        options, time = self._plan.options, self._plan.time
        modified = datetime.fromtimestamp(self._plan.path.stat().st_mtime).astimezone(options.utc_offset)
        zero_s = self._zero_s or 0.0
        if options.started_at is not None:
            self.started_at = options.started_at
        elif not time.absolute:
            self.started_at = modified
            self.notes.append("the table has no date: the session starts at the file's date; --started-at sets another")
        elif time.daily:
            day = options.date or modified.date()
            if options.date is None:
                self.notes.append(f"the table has no date: taken from the file's date, {day}; --date sets another")
            midnight = datetime(day.year, day.month, day.day)  # noqa: DTZ001 - gets its offset in _local
            self.started_at = self._local(midnight + timedelta(seconds=zero_s))
        elif time.zoned:
            self.started_at = datetime.fromtimestamp(zero_s, UTC).astimezone(options.utc_offset)
        else:
            self.started_at = self._local(datetime(1970, 1, 1) + timedelta(seconds=zero_s))  # noqa: DTZ001

    def _local(self, moment: datetime) -> datetime:
        offset = self._plan.options.utc_offset
        if offset is not None:
            return moment.replace(tzinfo=offset)
        self.notes.append("the times have no offset from UTC: this machine's is used; --utc-offset sets another")
        return moment.astimezone()

    def _in_order(self, rows: Rows) -> Rows:
        """Without rows whose time lies before an earlier row's; a single time far ahead is the wrong one itself."""
        time_s = rows.time_s
        before = np.concatenate(([self._last_s], time_s[:-1]))
        after = np.concatenate((time_s[1:], [np.inf]))
        after_next = np.concatenate((after[1:], [np.inf]))
        ahead = (before <= after) & (after < time_s) & (after <= after_next) & (after_next < time_s)
        reached = np.maximum.accumulate(np.concatenate(([self._last_s], np.where(ahead, -np.inf, time_s))))[:-1]
        back = (time_s < reached) & ~ahead
        good = ~(ahead | back)
        self._remarks.add_all("rows whose time is before an earlier row's, skipped", rows.lines(back))
        self._remarks.add_all("rows whose time is ahead of the rows after them, skipped", rows.lines(ahead))
        if good.any():
            self._last_s = float(time_s[good][-1])
        return rows.chosen(good)


class _Known(dict[str, tuple[float, float, int, int]]):
    """Cells of a column as value, resolution, flags, state."""

    def __init__(self, column: ValueColumn) -> None:
        super().__init__()
        self._column = column

    def __missing__(self, text: str) -> tuple[float, float, int, int]:
        if len(self) >= self._column.cells.MOST:
            self.clear()
        cell = self._column.cells[text]
        self[text] = known = (
            cell.value,
            self._column.shown.resolution(cell.decimals) * cell.scale,
            cell.flags,
            cell.state,
        )
        return known

    def table(self, texts: list[str]) -> Floats:
        """A row of value, resolution, flags, state for each cell: (n, 4)."""
        column = self._column
        if column.cells.is_plain and len(set(texts)) * 2 > len(texts) and (plain := plain_numbers(texts)):
            values, decimals = plain
            table = np.zeros((len(texts), 4))
            table[:, 0] = values
            table[:, 1] = np.array([column.shown.resolution(d) for d in range(decimals.max() + 1)])[decimals]
            table[:, 3] = GOOD
            return table
        return np.array([self[text] for text in texts], np.float64)


class _Loader:
    """Writes rows into a new session."""

    def __init__(
        self, plan: ImportPlan, new: NewSession, started_at: datetime, details: Mapping[str, str], remarks: Remarks
    ) -> None:
        self._plan, self._remarks = plan, remarks
        self._writer = new.begin(started_at, details)
        self._known = [_Known(column) for column in plan.values]
        self._channels: dict[int | str, int] = {}  # by the column's place (two may bear one title), or by name
        self._labels: dict[int | str, str] = {}
        self._last_s: dict[int, float] = {}
        self.readings: dict[str, int] = {}
        self.markers = 0
        if plan.channel_place is None:
            for column in plan.values:
                self._add_channel(column.place, column.label, column)

    def _add_channel(self, key: int | str, label: str, column: ValueColumn) -> None:
        self._channels[key] = self._writer.add_channel(
            label, column.quantity, point=column.point, address=self._plan.path.name, driver=IMPORT
        )
        self._labels[key] = label
        self.readings.setdefault(label, 0)

    def load(self, rows: Rows) -> None:
        """Add the readings and markers of some rows."""
        if (place := self._plan.marker_place) is not None:
            names = rows.block.columns[place]
            for i in [i for i, name in enumerate(names) if name and not name.isspace()]:
                self._writer.add_marker(float(rows.time_s[i]), names[i].strip(), by="import")
                self.markers += 1
        for column, known in zip(self._plan.values, self._known, strict=True):
            table = known.table(rows.block.columns[column.place])
            good = self._good(rows, column, table[:, 3])
            if self._plan.channel_place is None:
                self._append(column.place, rows, table, good)
            else:
                self._load_long(rows, column, table, good)

    def _good(self, rows: Rows, column: ValueColumn, state: Floats) -> NDArray[np.bool_]:
        good: NDArray[np.bool_] = state == GOOD
        if good.all():
            return good
        blank = state == BLANK
        if (place := self._plan.marker_place) is not None:
            # A blank value beside a marker is how a table holds a marker alone.
            blank &= np.array([not name or name.isspace() for name in rows.block.columns[place]])
        title = column.title
        self._remarks.add_all(f"blank values of '{title}', left out", rows.lines(blank))
        self._remarks.add_all(f"values of '{title}' that are not numbers, left out", rows.lines(state == TEXT))
        foreign = rows.lines(state == FOREIGN)
        self._remarks.add_all(f"values of '{title}' in a unit of another quantity, left out", foreign)
        return good

    def _load_long(self, rows: Rows, column: ValueColumn, table: Floats, good: NDArray[np.bool_]) -> None:
        names = np.array(list(map(str.strip, rows.block.columns[self._plan.channel_place or 0])))
        for name in dict.fromkeys(names.tolist()):
            chosen = good & (names == name)
            if not name:
                self._remarks.add_all("values without a channel name, left out", rows.lines(chosen))
                continue
            if name not in self._channels:
                self._add_channel(name, name, column)
            self._append(name, rows, table, chosen)

    def _append(self, key: int | str, rows: Rows, table: Floats, chosen: NDArray[np.bool_]) -> None:
        time_s, values = rows.time_s[chosen], table[chosen]
        if not len(time_s):
            return
        channel = self._channels[key]
        same = np.zeros(len(chosen), np.bool_)
        same[chosen] = np.diff(time_s, prepend=self._last_s.get(channel, -np.inf)) == 0
        self._remarks.add_all("readings with the same time as the one before, kept", rows.lines(same))
        self._last_s[channel] = float(time_s[-1])
        resolution, flags = values[:, 1].astype(np.float32), values[:, 2].astype(np.uint16)
        self._writer.append_series(channel, Series(time_s, values[:, 0].copy(), resolution, flags))
        self.readings[self._labels[key]] += len(time_s)
