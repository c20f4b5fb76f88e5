"""Writes rows in order into a session: readings, markers, changes of state, and lines of text as markers."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

import numpy as np

from meterlog.errors import TableError
from meterlog.exchange.table.import_plan import ImportPlan
from meterlog.exchange.table.known_cells import KnownCells
from meterlog.exchange.table.looks import has_word, note_of
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.rows import Bools, Floats, Rows
from meterlog.exchange.table.text_rows import Texts
from meterlog.series import Series
from meterlog.session.model import IMPORT
from meterlog.session.schema import CHUNK_READINGS
from meterlog.session.writer import SessionWriter
from meterlog.text.numbers import BLANK, FOREIGN, GOOD, TEXT

_BUFFERED = 5 * CHUNK_READINGS
"""So many readings of a channel are gathered before they are written: whole chunks, sealed as they come."""
_LONGEST_NOTE = 200
"""Characters of a marker that was a line of text. A guess."""


class _Channel:
    """A channel of the session, and its readings that are not written yet."""

    def __init__(self, writer: SessionWriter | None, number: int) -> None:
        self._writer, self._number = writer, number
        self._waiting: list[Series] = []
        self._waits = 0
        self.last_s = -np.inf
        self.readings = 0

    def add(self, series: Series) -> None:
        """Take further readings."""
        self._waiting.append(series)
        self._waits += len(series)
        self.readings += len(series)
        self.last_s = float(series.time_s[-1])
        if self._waits >= _BUFFERED:
            self._write(self._waits - self._waits % CHUNK_READINGS)

    def flush(self) -> None:
        """Write what waits."""
        if self._waits:
            self._write(self._waits)

    def _write(self, count: int) -> None:
        whole = joined_series(self._waiting)
        if self._writer is not None:
            self._writer.append_series(self._number, whole[:count])
        self._waiting, self._waits = ([whole[count:]] if count < len(whole) else []), len(whole) - count


def joined_series(parts: Sequence[Series]) -> Series:
    """Series one after another."""
    if len(parts) == 1:
        return parts[0]
    names = ("time_s", "value", "resolution", "flags", "time_error_s")
    return Series(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


class Loader:
    """Fills one session with the rows of one file.

    Attributes:
        markers: how many were set.
        kept: how many rows gave a reading or a marker.
    """

    def __init__(
        self,
        plan: ImportPlan,
        writer: SessionWriter | None,
        remarks: Remarks,
        known: Sequence[KnownCells],
        stem: str = "",
    ) -> None:
        """Begin the channels of a file, with `stem` before their labels; no writer shows what would be kept."""
        self._plan, self._remarks, self._writer, self._known = plan, remarks, writer, known
        self._channels: dict[int | str, _Channel] = {}  # by the column's place (two may bear one title), or by name
        self._labels: dict[int | str, str] = {}
        self._states: dict[int, str] = {}
        self._said = ""
        self.markers = self.kept = 0
        if plan.channel_place is None:
            for i, column in enumerate(plan.values):
                self._add_channel(i, f"{stem} {column.label}".strip(), i)

    def go_on(self, plan: ImportPlan, remarks: Remarks, known: Sequence[KnownCells]) -> None:
        """Take the next rows from another file, for the same channels.

        Raises:
            TableError: it has others.
        """
        if [column.quantity for column in plan.values] != [column.quantity for column in self._plan.values]:
            raise TableError(
                f"'{plan.source.path.name}' has other quantities than '{self._plan.source.path.name}', so it cannot go"
                " on with its channels"
            )
        self._plan, self._remarks, self._known = plan, remarks, known

    @property
    def readings(self) -> dict[str, int]:
        """The readings of each channel by its label."""
        counts: dict[str, int] = {}
        for key, channel in self._channels.items():
            counts[self._labels[key]] = counts.get(self._labels[key], 0) + channel.readings
        return counts

    def _add_channel(self, key: int | str, label: str, i: int) -> None:
        column = self._plan.values[i]
        number = 0
        if self._writer is not None:
            address = self._plan.source.path.name
            number = self._writer.add_channel(
                label, column.quantity, point=column.point, address=address, driver=IMPORT
            )
        self._channels[key], self._labels[key] = _Channel(self._writer, number), label

    def load(self, rows: Rows, error_s: float, channel: str, texts: Texts) -> None:
        """Add rows, their times the session's.

        Args:
            rows: in order.
            error_s: each time may be wrong by this much, s.
            channel: the name of theirs, where a column names it.
            texts: lines of text and their numbers; those that stand before the last row are taken from it.
        """
        named = self._mark_named(rows)
        self._mark_changes(rows)
        self._mark_texts(rows, texts)
        columns = self._plan.values
        tables = [known.table(rows.block.columns[one.place]) for one, known in zip(columns, self._known, strict=True)]
        wordy = self._mark_words(rows, tables)
        self.kept += int(np.count_nonzero(np.any([table[:, 3] == GOOD for table in tables], axis=0) | wordy | named))
        for i, table in enumerate(tables):
            good = self._good(rows, columns[i].title, table[:, 3], wordy)
            if channel and channel not in self._channels:
                self._add_channel(channel, channel, i)
            self._append(channel or i, rows, table, good, error_s)

    def mark_restart(self, time_s: float, line: int) -> None:
        """Set a marker where the file's clock began again."""
        self._mark(time_s, "clock restarted", f"line {line}: how long the pause was is not known")

    def finish(self) -> None:
        """Write what waits."""
        for channel in self._channels.values():
            channel.flush()

    def _mark(self, time_s: float, name: str, note: str = "") -> None:
        if self._writer is not None:
            self._writer.add_marker(time_s, name, note, by="import")
        self.markers += 1

    def _mark_named(self, rows: Rows) -> Bools:
        named = np.zeros(len(rows), np.bool_)
        if (place := self._plan.marker_place) is not None:
            names = rows.block.columns[place]
            for i in [i for i, name in enumerate(names) if name and not name.isspace()]:
                self._mark(float(rows.time_s[i]), names[i].strip())
                named[i] = True
        return named

    def _mark_changes(self, rows: Rows) -> None:
        for place in self._plan.state_places:
            cells = rows.block.columns[place]
            title = self._plan.layout.title(place)
            for i, cell in enumerate(cells):
                word = cell.strip()
                if word and word != self._states.get(place, word):
                    self._mark(float(rows.time_s[i]), f"{title}: {word}")
                if word:
                    self._states[place] = word

    def _mark_texts(self, rows: Rows, texts: Texts) -> None:
        lines = rows.block.line
        while texts and texts[0][0] < lines[-1]:
            line, note = texts.pop(0)
            at = max(bisect_right(lines, line) - 1, 0)
            self._mark(float(rows.time_s[at]), note[:_LONGEST_NOTE])
            self._remarks.add("lines of text between the rows, kept as markers", line)

    def _mark_words(self, rows: Rows, tables: Sequence[Floats]) -> Bools:
        """Rows that have words where all the others have values: marked where the words change."""
        state = np.stack([table[:, 3] for table in tables])
        wordy: Bools = ~(state == GOOD).any(axis=0) & (state == TEXT).any(axis=0)
        for i in np.flatnonzero(wordy).tolist():
            words = [rows.block.columns[column.place][i].strip() for column in self._plan.values]
            note = note_of([word for word in words if word])
            if not has_word(note):
                wordy[i] = False
            elif self._said != note:
                self._mark(float(rows.time_s[i]), note[:_LONGEST_NOTE])
                self._said = note
        self._remarks.add_all("rows with words in place of values, kept as markers", rows.lines(wordy))
        return wordy

    def _good(self, rows: Rows, title: str, state: Floats, wordy: Bools) -> Bools:
        good: Bools = state == GOOD
        if good.all():
            return good
        blank = state == BLANK
        if (place := self._plan.marker_place) is not None:
            # A blank value beside a marker is how a table holds a marker alone.
            blank &= np.array([not name or name.isspace() for name in rows.block.columns[place]])
        self._remarks.add_all(f"blank values of '{title}', left out", rows.lines(blank & ~wordy))
        text = (state == TEXT) & ~wordy
        self._remarks.add_unreadable(f"values of '{title}' that are not numbers, left out", rows.lines(text))
        foreign = rows.lines(state == FOREIGN)
        self._remarks.add_unreadable(f"values of '{title}' in a unit of another quantity, left out", foreign)
        return good

    def _append(self, key: int | str, rows: Rows, table: Floats, chosen: Bools, error_s: float) -> None:
        time_s, values = rows.time_s[chosen], table[chosen]
        if not len(time_s):
            return
        channel = self._channels[key]
        same = np.zeros(len(chosen), np.bool_)
        same[chosen] = np.diff(time_s, prepend=channel.last_s) == 0
        self._remarks.add_all("readings with the same time as the one before, kept", rows.lines(same))
        resolution, flags = values[:, 1].astype(np.float32), values[:, 2].astype(np.uint16)
        errors_s = np.full(len(time_s), error_s, np.float32)
        channel.add(Series(time_s, values[:, 0].copy(), resolution, flags, errors_s))
