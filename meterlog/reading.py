"""One displayed value with its time: the value that everything else passes on."""

from __future__ import annotations

import math
from enum import IntFlag, StrEnum
from typing import NamedTuple


class Quantity(StrEnum):
    """A measured quantity. The spelling is part of the session format and of every address and command."""

    DC_VOLTAGE = "dc_voltage"
    AC_VOLTAGE = "ac_voltage"
    DC_CURRENT = "dc_current"
    AC_CURRENT = "ac_current"
    RESISTANCE = "resistance"
    CONTINUITY = "continuity"
    DIODE = "diode"
    FREQUENCY = "frequency"
    DUTY_CYCLE = "duty_cycle"
    CAPACITANCE = "capacitance"
    TEMPERATURE = "temperature"

    @property
    def unit(self) -> str:
        """The unit in which values of this quantity are held (SI; % and degC where the trade uses those)."""
        return _UNITS[self]

    @property
    def words(self) -> str:
        """As a person says it, for example `DC voltage`."""
        return self.replace("_", " ").replace("dc ", "DC ").replace("ac ", "AC ")


_UNITS = {
    Quantity.DC_VOLTAGE: "V",
    Quantity.AC_VOLTAGE: "V",
    Quantity.DC_CURRENT: "A",
    Quantity.AC_CURRENT: "A",
    Quantity.RESISTANCE: "ohm",
    Quantity.CONTINUITY: "ohm",
    Quantity.DIODE: "V",
    Quantity.FREQUENCY: "Hz",
    Quantity.DUTY_CYCLE: "%",
    Quantity.CAPACITANCE: "F",
    Quantity.TEMPERATURE: "degC",
}


class Flag(IntFlag):
    """Flags that the meter showed beside the number. Fits 16 bits; the bits are part of the session format."""

    NONE = 0
    OVERLOAD = 1
    HOLD = 2
    LOW_BATTERY = 4
    RELATIVE = 8
    AUTORANGE = 16
    MINIMUM = 32
    MAXIMUM = 64
    AC = 128
    DC = 256
    BEEP = 512
    DOUBTFUL = 1024
    """Ours, not the meter's: contradicts its neighbours beyond what the circuit can do; never the only ground."""


class Reading(NamedTuple):
    """One displayed value with its time.

    A named tuple because a decoder makes hundreds of thousands a second of them: it is immutable, typed, and
    a third of the cost of a frozen dataclass.

    Attributes:
        time_s: when its first byte left the meter, on the host's monotonic clock (`time.monotonic()`), s.
        value: in the quantity's unit; overload is +-inf with `Flag.OVERLOAD`, never a number.
        quantity: what is measured.
        resolution: one count of the display as shown, in the quantity's unit; NaN where the source shows none.
        flags: what the meter said beside the number.
        column: which display or column of the meter, from 0.
        time_error_s: `time_s` may be wrong by this much either way, s; 0 where arrival gives it.
    """

    time_s: float
    value: float
    quantity: Quantity
    resolution: float = math.nan
    flags: Flag = Flag.NONE
    column: int = 0
    time_error_s: float = 0.0


class Accuracy(NamedTuple):
    """A meter's stated accuracy: +-(share of the reading + counts of the last digit + a fixed amount).

    The default, +-(0.5 % + 2 counts), is a usual figure for hand-held meters, from memory and not checked
    against a source: set it by channel with the address option `accuracy`, for example `accuracy=0.8pct%2B3`. Clamps
    are stated with a fixed error, `2pct%2B0%2B50mA`; it is in the unit of what is measured.
    """

    share: float = 0.005
    counts: float = 2.0
    fixed: float = 0.0

    def error(self, value: float, resolution: float) -> float:
        """The half-width of the error band around a value, in the value's unit."""
        shown = 0.0 if math.isnan(resolution) else resolution
        return abs(value) * self.share + self.counts * shown + self.fixed
