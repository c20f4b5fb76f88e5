"""The first pass over a file: every cell that matters is looked at for what the file leaves possible."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable

from meterlog.errors import TableError
from meterlog.exchange.table.even_cells import EvenCells
from meterlog.exchange.table.remarks import Remarks
from meterlog.exchange.table.source import Source
from meterlog.exchange.table.text_rows import Block, Cells, Shape, blocks
from meterlog.exchange.table.time_kind import TimeSurvey
from meterlog.text.numbers import MarkSurvey

_MOST_CHANNELS = 1000
"""More names in a channel column mean that it is another column. A guess."""
_DISTINCT_CELLS = 20_000
"""So many different cells of a column show how many decimals it has. A guess."""
_MARK_CELLS = 200
"""So many times of a block are looked at for the decimal mark. A guess."""
_COMMA_SECONDS = re.compile(r":\d{2},\d+")
_MARKED_NUMBER = re.compile(r"[-+]?\d*[.,]\d*")


class Survey:
    """One pass over the file.

    Attributes:
        marks: what the decimal mark can be; of the times alone, and of the values alone.
        time: what the times can be.
        distinct: the different cells of each column of values, and how often each comes.
        channels: the names in the channel column, each with its first time cell.
        rows: how many rows there are.
    """

    def __init__(
        self, source: Source, shape: Shape, time_places: tuple[int, ...], value_places: tuple[int, ...],
        channel_place: int | None,
    ) -> None:  # fmt: skip
        self.marks, self.time_marks, self.value_marks = MarkSurvey(), MarkSurvey(), MarkSurvey()
        self.time = TimeSurvey()
        self.distinct: dict[int, dict[str, int]] = {place: {} for place in value_places}
        self.channels: dict[str, str] = {}
        self.rows = 0
        for block in blocks(source.lines(), shape, Remarks()):
            self.rows += len(block.line)
            if time_places:
                self._see_times(joined(block, time_places))
            for place, distinct in self.distinct.items():
                self._see_values(block.columns[place], distinct)
            if channel_place is not None:
                times = joined(block, time_places) if time_places else [""] * len(block.line)
                self._see_channels(block.columns[channel_place], times)
        self.channels.pop("", None)

    def _see_times(self, times: Cells) -> None:
        self.time.see(times)
        numbers = [time for time in times[:_MARK_CELLS] if _MARKED_NUMBER.fullmatch(time.strip())]
        self.marks.see(numbers)
        self.time_marks.see(numbers)
        self.marks.comma_in_times |= any(map(_COMMA_SECONDS.search, times[:_MARK_CELLS]))

    def _see_values(self, cells: Cells, distinct: dict[str, int]) -> None:
        if len(distinct) < _DISTINCT_CELLS:
            counted = cells.counted() if isinstance(cells, EvenCells) else Counter(cells)
            for cell, count in counted.items():
                distinct[cell] = distinct.get(cell, 0) + count
            self._see_marks(counted)
        else:
            self._see_marks(set(cells))

    def _see_marks(self, cells: Collection[str]) -> None:
        self.marks.see(cells)
        self.value_marks.see(cells)

    def _see_channels(self, names: Iterable[str], times: Iterable[str]) -> None:
        for name, time in zip(map(str.strip, names), times, strict=True):
            self.channels.setdefault(name, time)
        if len(self.channels) > _MOST_CHANNELS:
            raise TableError("the channel column names more than 1000 channels: is it the right column?")


def joined(block: Block, places: tuple[int, ...]) -> Cells:
    """The cells of one column, or those of a date and a clock column put together."""
    if len(places) == 1:
        return block.columns[places[0]]
    return list(map(" ".join, zip(*(block.columns[place] for place in places), strict=True)))
