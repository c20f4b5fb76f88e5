"""The scale of a display: what its symbols and decimal point make of the counts that its digits show."""

from __future__ import annotations

import math
from typing import NamedTuple

from meterlog.reading import Flag, Quantity
from meterlog_drivers.display.decimals import one_count, shown_value
from meterlog_drivers.display.possible_counts import possible_counts
from meterlog_drivers.display.shown import Shown


class Scale(NamedTuple):
    """One mode of a display.

    Attributes:
        quantity: what is measured.
        exponent: the power of ten of one count.
        resolution: one count, in the quantity's unit.
        flags: of every reading in this mode.
        fahrenheit: the digits are degrees Fahrenheit.
        column: which display.
        least, most: the counts that can be shown at all.
    """

    quantity: Quantity
    exponent: int
    resolution: float
    flags: Flag
    fahrenheit: bool
    column: int
    least: float
    most: float

    @classmethod
    def of(
        cls,
        quantity: Quantity,
        exponent: int,
        flags: Flag,
        *,
        fahrenheit: bool = False,
        column: int = 0,
        most_counts: float = math.inf,
    ) -> Scale:
        """Work a scale out, once a mode.

        Args:
            quantity, exponent, flags, fahrenheit, column: as the attributes.
            most_counts: the highest number that the display has room for.
        """
        least, most = possible_counts(quantity, exponent, flags)
        least, most = max(least, -most_counts), min(most, most_counts)
        return cls(quantity, exponent, one_count(exponent, fahrenheit), flags, fahrenheit, column, least, most)

    def number(self, counts: int) -> tuple[Shown, ...]:
        """Give what counts show; () where no meter shows so many."""
        if not self.least <= counts <= self.most:
            return ()
        value = shown_value(counts, self.exponent, self.fahrenheit)
        return (Shown(value, self.quantity, self.resolution, self.flags, self.column),)

    def overload(self, minus: bool) -> tuple[Shown, ...]:
        """Give what an overload shows."""
        value = -math.inf if minus else math.inf
        return (Shown(value, self.quantity, self.resolution, self.flags | Flag.OVERLOAD, self.column),)
