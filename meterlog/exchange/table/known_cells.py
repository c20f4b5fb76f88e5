"""The cells of a column of values as figures; remembers those it has seen, since a display repeats itself."""

from __future__ import annotations

import numpy as np

from meterlog.exchange.table.rows import Floats
from meterlog.exchange.table.value_column import ValueColumn
from meterlog.text.numbers import GOOD, plain_numbers


class KnownCells(dict[str, tuple[float, float, int, int]]):
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
