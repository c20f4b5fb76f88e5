"""The cells of a column of values as figures; remembers those it has seen, since a display repeats itself."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from meterlog.exchange.table.even_cells import EvenCells
from meterlog.exchange.table.rows import Floats
from meterlog.exchange.table.text_rows import Cells
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

    def table(self, cells: Cells) -> Floats:
        """A row of value, resolution, flags, state for each cell: (n, 4)."""
        column = self._column
        plain = _plain(cells) if column.cells.is_plain else None
        if plain is None:
            return np.array([self[text] for text in cells], np.float64)
        table = np.zeros((len(cells), 4))
        table[:, 0] = plain[0]
        table[:, 1] = np.array([column.shown.resolution(d) for d in range(plain[1].max(initial=0) + 1)])[plain[1]]
        table[:, 3] = GOOD
        return table


def _plain(cells: Cells) -> tuple[Floats, NDArray[np.int64]] | None:
    """Values and decimals of cells that are bare numbers, where that takes less than looking each cell up."""
    if isinstance(cells, EvenCells):
        return cells.numbers
    return plain_numbers(cells) if len(set(cells)) * 2 > len(cells) else None
