"""A reading as the meter's own display would show it."""

from __future__ import annotations

from meterlog.reading import Flag, Reading
from meterlog.text.figures import displayed

_SHOWN_FLAGS = ((Flag.HOLD, "HOLD"), (Flag.LOW_BATTERY, "meter battery low"), (Flag.RELATIVE, "REL"))


def readout(reading: Reading) -> str:
    """The value with the display's own decimals, for example `12.41 V`, `-3.4 mV`, `OL ohm`, `0.02 V HOLD`."""
    words = [displayed(reading.value, reading.quantity.unit, reading.resolution)]
    words += [word for flag, word in _SHOWN_FLAGS if reading.flags & flag]
    return " ".join(words)
