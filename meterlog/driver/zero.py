"""Measures what a meter shows of nothing: its leads held together, or a clamp around no wire."""

from __future__ import annotations

import math
import time
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

from meterlog.address import Address
from meterlog.driver.contract import Meter
from meterlog.driver.conversion import Conversion, Offset, offsets_of
from meterlog.errors import NoZero
from meterlog.reading import Quantity, Reading
from meterlog.text.figures import shown

READINGS = 8
"""Readings that make a zero: some three seconds of most meters, long enough to see one that moves; a choice."""
WAIT_S = 30.0
"""Silence after which a zero is given up, s; a choice."""
LOOK_S = 0.5
STEADY_COUNTS = 10
"""Counts by which the readings may differ; a clamp's last digits wander (guess)."""
LARGEST = {
    Quantity.RESISTANCE: 2.0,
    Quantity.DC_VOLTAGE: 0.05,
    Quantity.DC_CURRENT: 0.05,
}
"""The largest zero as the meter shows it, a clamp's in its volts, in ohm, V, A: leads have 0.2-0.6 ohm; more than 50 mV
or mA is a circuit that carries something, or a clamp whose own knob must be turned first (guesses)."""
WHERE = {
    Quantity.RESISTANCE: "hold the leads together",
    Quantity.DC_VOLTAGE: "hold the leads together, or with a clamp take it off every wire",
    Quantity.DC_CURRENT: "connect nothing, or with a clamp take it off every wire",
}


class Zero(NamedTuple):
    """Holds what a meter shows of nothing.

    Attributes:
        value: in the unit of the quantity.
        quantity: of the readings as they are meant, a clamp's scale included.
    """

    value: float
    quantity: Quantity

    def taken_off(self, address: Address, day: str) -> Address:
        """The address with the offset that takes it off, measured on this day; offsets in other units stay."""
        offsets = {**offsets_of(address), self.quantity.unit: Offset(-self.value, day)}
        texts = (f"{one.value:.6g}{unit}{f'@{one.day}' * bool(one.day)}" for unit, one in offsets.items())
        return Address(address.scheme, address.target, {**address.options, "offset": ";".join(texts)})


def measure_zero(meter: Meter, conversion: Conversion | None) -> Zero:
    """Read a meter that measures nothing.

    Raises:
        LinkError: it cannot be opened, or is lost.
        NoZero: too few readings come, they move, are too large, or have no zero.
    """
    readings: list[Reading] = []
    connection = meter.open()
    last_s = time.monotonic()
    try:
        while len(readings) < READINGS:
            came = connection.read(LOOK_S)
            if came is None or time.monotonic() - last_s > WAIT_S:
                raise NoZero(f"{len(readings)} of {READINGS} readings came from {meter.name}: nothing was nulled")
            if first := [reading for reading in came if not reading.column]:
                last_s = time.monotonic()
                readings += first
    finally:
        connection.close()
    return zero_of(readings, conversion)


def zero_of(readings: Sequence[Reading], conversion: Conversion | None = None) -> Zero:
    """The zero that readings of nothing show.

    Args:
        readings: as the meter shows them.
        conversion: what its address makes of them; offsets that it has already do not count.

    Raises:
        NoZero: they move, are too large, or have no zero.
    """
    quantity, unit = readings[-1].quantity, readings[-1].quantity.unit
    if any(reading.quantity is not quantity for reading in readings):
        raise NoZero("the dial was turned meanwhile: nothing was nulled; leave it, and try again")
    if quantity not in LARGEST:
        raise NoZero(
            f"the meter shows {quantity.words}, which has no zero to null: turn it to ohms, DC volts or amperes"
        )
    values = [reading.value for reading in readings]
    if any(map(math.isinf, values)):
        raise NoZero(f"the meter shows an overload: nothing was nulled; {WHERE[quantity]}")
    largest, count = max(map(abs, values)), readings[-1].resolution
    if largest > LARGEST[quantity]:
        raise NoZero(
            f"the meter shows up to {shown(largest, unit)}, too much for a zero, of which"
            f" {shown(LARGEST[quantity], unit)} is the most: nothing was nulled; {WHERE[quantity]}, and try again"
        )
    if max(values) - min(values) > (LARGEST[quantity] / 10 if math.isnan(count) else STEADY_COUNTS * count):
        raise NoZero(
            f"the readings move from {shown(min(values), unit)} to {shown(max(values), unit)}: nothing was nulled;"
            f" {WHERE[quantity]}, keep still, and try again"
        )
    bare = replace(conversion, offsets={}) if conversion is not None else Conversion()
    meant = [bare(reading) for reading in readings]
    return Zero(sum(reading.value for reading in meant) / len(meant), meant[-1].quantity)
