"""One measured value on a circuit: where, how and when it was taken, and how that is said."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from meterlog.circuit.model.bulb import Bulb
from meterlog.circuit.model.part import BATTERY_MINUS
from meterlog.circuit.words import span
from meterlog.reading import Quantity
from meterlog.text.ids import plain

QUANTITIES = ("voltage", "voltage_drop", "current", "resistance", "lamp")
"""Says what can be read; `lamp`: how bright a test lamp is between two places."""
QUANTITY = {
    "voltage": Quantity.DC_VOLTAGE,
    "voltage_drop": Quantity.DC_VOLTAGE,
    "current": Quantity.DC_CURRENT,
    "resistance": Quantity.RESISTANCE,
}
"""Says what a meter is set to for each of them; a lamp needs none."""
UNITS = {"voltage": "V", "voltage_drop": "V", "current": "A", "resistance": "ohm", "lamp": ""}
STATE_WORDS = {
    "off": "with the key off",
    "key_on": "at key-on",
    "prime": "during the prime",
    "crank": "while cranking",
    "run": "with the engine running",
    "isolated": "isolated",
}
PLACE = ("quantity", "at", "to", "state", "load", "side", "unplugged")
"""Tells where and how something is read: keys of a row, options of a command, fields of a form."""
SIDES = ("harness", "load")
"""Halves of an unplugged connector: the vehicle's, and the load's."""
LOAD_WORDS = {"connected": "", "unplugged": ", unplugged", "lamp": ", a test lamp as the load"}


@dataclass(frozen=True, slots=True)
class Measurement:
    """One measured value and where, how and when it was taken.

    Attributes:
        quantity: one of `QUANTITIES`.
        at: a point, part or command.
        to: where the other probe was.
        state: one of `STATES`.
        load: one of `LOADS`.
        value: V, A or ohm; inf for 'open'; of a lamp the share of its rated voltage that it looks like.
        error: half-width of its error band, in its unit; None where only the meter's usual accuracy is known.
        side: which half of an unplugged connector a probe was on, one of `SIDES`; empty where nobody said, or nothing
            is unplugged.
        unplugged: the loads of branches that are unplugged meanwhile, commas between; empty for none.
        watt: of a lamp: 0 for an LED lamp, None where nobody said.
        nulled: ohms from which the leads' own were taken off, by the meter or afterwards.
        at_coil: `at` is a command, so the probes are across what closes the part, whatever `to` says.
    """

    quantity: str
    at: str
    to: str = BATTERY_MINUS
    state: str = "key_on"
    load: str = "connected"
    value: float = math.nan
    error: float | None = None
    watt: float | None = None
    side: str = ""
    nulled: bool = False
    unplugged: str = ""
    at_coil: bool = field(default=False, compare=False)

    @property
    def shown(self) -> str:
        """The value with its unit, or how bright the lamp is."""
        return self.span(self.value, self.value)

    @property
    def bulb(self) -> Bulb:
        """The lamp, where one is read."""
        return Bulb(self.watt)

    def span(self, low: float, high: float) -> str:
        """Two values as they would be read here: `12.1 to 12.4 V`, `dim to bright`; one where they are the same."""
        if self.quantity == "lamp":
            return self.bulb.words(low, high)
        return span(low, high, UNITS[self.quantity])

    @property
    def place_key(self) -> tuple[str, ...]:
        """What `PLACE` names: equal where two readings were taken in the same place and state."""
        return tuple(getattr(self, key) for key in PLACE)

    @property
    def place(self) -> str:
        """Find where and how, in words."""
        if self.quantity == "current":
            where = f"through {self.at}"
        else:
            where = f"across {self.at}" if self.at_coil or self.to == self.at else f"from {self.at} to {self.to}"
        if self.quantity == "lamp":
            where = f"on {self.bulb.name} {where}"
        half = f" ({self.side} side)" if self.side else ""
        return f"{where} {STATE_WORDS[self.state]}{LOAD_WORDS[self.load]}{half}{unplugged_words(self.unplugged)}"

    def __str__(self) -> str:
        return f"{self.shown} {self.place}"

    def as_row(self) -> dict[str, object]:
        """Give the row of `measured` that says it."""
        row: dict[str, object] = {
            "quantity": self.quantity,
            "at": self.at,
            "to": self.to,
            "state": self.state,
            "load": self.load,
            "value": "open" if math.isinf(self.value) else self.shown if self.quantity == "lamp" else self.value,
        }
        more = {
            "error": self.error,
            "watt": self.watt,
            "side": self.side or None,
            "nulled": self.nulled or None,
            "unplugged": self.unplugged or None,
        }
        return row | {key: value for key, value in more.items() if value is not None}


def unplugged_words(unplugged: str) -> str:
    """Say which loads of branches are unplugged, to follow a place: `, heater unplugged`; empty for none."""
    return f", {plain(unplugged).replace(', ', ' and ')} unplugged" if unplugged else ""
