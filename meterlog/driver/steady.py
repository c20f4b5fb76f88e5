"""Says when readings are steady, for all who wait for a level; and reads one, to the meter's last digits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

from meterlog.driver.contract import Connection, readings_of
from meterlog.errors import UsageError
from meterlog.reading import Accuracy, Quantity, Reading

WAIT_S = 12.0
"""Time to wait for a steady level, s: tips slip, and meters take seconds to find their range. A guess."""
STEADY = 3
"""So many readings in a row that agree make a level: the first may hold what came before. A guess."""
AGREE_COUNTS, AGREE_SHARE = 2.0, 0.03
"""Readings agree within so many counts, or this share of the last one. Guesses."""


class Metered(Protocol):
    """A meter with the accuracy that was stated for it."""

    def accuracy_of(self, quantity: Quantity) -> Accuracy:
        """The meter's, for one quantity."""
        ...

    def open(self) -> Connection:
        """Open it."""
        ...


def steady_level(meter: Metered, quantity: Quantity, wait_s: float = WAIT_S) -> tuple[float, float]:
    """The first steady level and its error, in the quantity's unit.

    Raises:
        LinkError: the meter cannot be reached, or is lost.
        UsageError: it shows another quantity, an overload, or nothing steady in time.
    """
    recent: list[Reading] = []
    other = ""
    connection = meter.open()
    try:
        for reading in readings_of(connection, wait_s):
            if reading.quantity is not quantity:
                other = reading.quantity.words
                continue
            recent = [*recent[1 - STEADY :], reading]
            if are_steady(recent) and math.isfinite(reading.value):
                value = sum(one.value for one in recent) / STEADY
                return value, meter.accuracy_of(quantity).error(value, recent[-1].resolution)
    finally:
        connection.close()
    if other and not recent:
        raise UsageError(f"the meter shows {other}: turn its dial to {quantity.words}")
    if recent and math.isinf(recent[-1].value):
        raise UsageError("the meter shows an overload: another range, or the tips touch something else")
    raise UsageError("nothing steady came: hold the tips still, and try again")


def are_steady(recent: Sequence[Reading], within: float = 0.0) -> bool:
    """Tell whether enough readings agree on a level; overloads agree with one another.

    Args:
        recent: the latest ones.
        within: what they may be apart whatever the meter shows, in their unit.
    """
    if len(recent) < STEADY:
        return False
    values = [reading.value for reading in recent]
    if any(map(math.isinf, values)):
        return all(map(math.isinf, values))
    count = 0.0 if math.isnan(recent[-1].resolution) else recent[-1].resolution
    near = max(AGREE_COUNTS * count, AGREE_SHARE * abs(values[-1]), within)
    return max(values) - min(values) <= near * (1 + 1e-9)  # two counts apart are not three by a rounding
