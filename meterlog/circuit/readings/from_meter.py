"""One measurement straight from a connected meter."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from meterlog.driver import Meter, readings_of
from meterlog.driver.steady import STEADY, are_steady
from meterlog.errors import LinkLost, UsageError
from meterlog.reading import Accuracy, Quantity, Reading

WAIT_S = 12.0
"""Time to turn the key: a prime lasts 2 s, and a person needs some to get there. A guess."""
AGREE = 0.05
"""Levels less than this apart, in V, A or ohm, are the same to a circuit, however fine the display. A guess."""
NOTHING = 0.3
"""V or A below which the circuit may not be switched on yet. A guess."""

QUANTITIES = {
    "voltage": (Quantity.DC_VOLTAGE,),
    "voltage_drop": (Quantity.DC_VOLTAGE,),
    "current": (Quantity.DC_CURRENT,),
    "resistance": (Quantity.RESISTANCE, Quantity.CONTINUITY),
}


def take(
    meter: Meter,
    quantity: str,
    *,
    accuracy: Accuracy,
    wait_s: float = WAIT_S,
    shown: Callable[[Reading], None] = lambda _: None,
) -> tuple[float, float]:
    """The first steady level that is not nothing; nothing (0, or open) only when the wait is over.

    Args:
        meter: opened and closed here.
        quantity: of `measurement.QUANTITIES`.
        accuracy: the meter's.
        wait_s: how long to wait for it, s.
        shown: called with every reading.

    Returns:
        The value (inf for open) and its error, in the quantity's unit.

    Raises:
        LinkError: the meter cannot be reached.
        UsageError: it shows another quantity, or nothing steady in time.
    """
    level = SteadyLevel(quantity, accuracy)
    connection = meter.open()
    try:
        for reading in readings_of(connection, wait_s):
            if level.fits(reading):
                shown(reading)
            if (found := level.feed(reading)) is not None:
                return found
    except LinkLost as error:
        raise UsageError(f"the meter disconnected before a steady reading came: {error}") from error
    finally:
        connection.close()
    return level.at_the_end()


class SteadyLevel:
    """Takes readings, and tells the first steady level that is not nothing."""

    def __init__(self, quantity: str, accuracy: Accuracy) -> None:
        """See `take`."""
        self._quantity, self._accuracy, self._wanted = quantity, accuracy, QUANTITIES[quantity]
        self._recent: list[Reading] = []
        self._other = ""

    def fits(self, reading: Reading) -> bool:
        """Tell whether the meter shows what is to be measured."""
        return reading.quantity in self._wanted

    def feed(self, reading: Reading) -> tuple[float, float] | None:
        """The level and its error, once three readings in a row agree on something; None until then."""
        if not self.fits(reading):
            self._other = reading.quantity.words
            return None
        self._recent = [*self._recent[-(STEADY - 1) :], reading]
        if agree(self._recent) and not _nothing(reading, self._quantity):
            return _level(self._recent, self._accuracy)
        return None

    def at_the_end(self) -> tuple[float, float]:
        """Nothing (0, or open) where that is what was read to the end.

        Raises:
            UsageError: the meter shows another quantity, or nothing steady.
        """
        if agree(self._recent):
            return _level(self._recent, self._accuracy)
        if self._other and not self._recent:
            raise UsageError(f"the meter shows {self._other}; turn its dial to {self._wanted[0].words}")
        raise UsageError("no steady reading came in time; type it in instead, or try again")


def agree(recent: Sequence[Reading]) -> bool:
    """Tell whether enough readings agree on a level of a circuit; overloads agree with one another."""
    return are_steady(recent, AGREE)


def _nothing(reading: Reading, quantity: str) -> bool:
    return math.isinf(reading.value) if quantity == "resistance" else abs(reading.value) < NOTHING


def _level(recent: list[Reading], accuracy: Accuracy) -> tuple[float, float]:
    values = sorted(reading.value for reading in recent)
    middle = values[len(values) // 2]
    if math.isinf(middle):
        return math.inf, 0.0
    return middle, math.hypot(accuracy.error(middle, recent[-1].resolution), values[-1] - values[0])
