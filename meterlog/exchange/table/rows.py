"""Rows of a table with their times, and lines of text that stand between them."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import compress
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from meterlog.exchange.table.text_rows import Block

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


class Rows(NamedTuple):
    """Some rows that have a time.

    Attributes:
        block: their line numbers and cells.
        time_s: s, on the axis of the file or of the session.
    """

    block: Block
    time_s: Floats

    def __len__(self) -> int:
        return len(self.time_s)

    def chosen(self, good: Bools) -> Rows:
        """The rows where `good` holds."""
        return Rows(self.block.chosen(good), self.time_s[good])

    def part(self, start: int, stop: int) -> Rows:
        """The rows from `start` on, before `stop`."""
        if start == 0 and stop >= len(self):
            return self
        return Rows(self.block.part(start, stop), self.time_s[start:stop])

    def before(self, later: Rows) -> Rows:
        """These rows and then the later ones."""
        if not len(self):
            return later
        return Rows(self.block.before(later.block), np.concatenate((self.time_s, later.time_s)))

    def lines(self, good: Bools) -> Iterable[int]:
        """The line numbers where `good` holds."""
        return compress(self.block.line, good) if good.any() else ()
